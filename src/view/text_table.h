// Tables of text: columns as wide as what stands in them, one column of names that takes what is left of the page.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace hopbench {

/// Cells are put as they are: whoever fills them sees to it that nothing in them speaks to a terminal.
class TextTable {
 public:
  /// A head may be two lines ("median\nms"). Names stand on the left of their column, figures on the right.
  struct Column {
    std::string head;
    bool names = false;
  };
  struct Row {
    std::vector<std::string> cells;  // as many as there are columns
    bool marked = false;             // with ">" before it, and bold where there is colour
    std::string below;               // whole lines, with their line ends
  };

  explicit TextTable(std::vector<Column> columns) : columns_(std::move(columns)) {}

  std::vector<Row>& rows() { return rows_; }
  /// Columns of the page that are left for the cells of column `which` (at least 10), going by what stands in all
  /// others.
  [[nodiscard]] std::size_t room(std::size_t which) const;
  [[nodiscard]] std::string text(bool colour) const;

 private:
  [[nodiscard]] std::size_t width_of(std::size_t column) const;
  /// Of all columns but this one, without margins.
  [[nodiscard]] std::size_t others(std::size_t column) const;
  /// Spaces before each column: one where the page is too narrow for two.
  [[nodiscard]] std::size_t margin(std::size_t others) const;

  std::vector<Column> columns_;
  std::vector<Row> rows_;
};

}  // namespace hopbench
