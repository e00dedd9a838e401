#include "view/text_table.h"

#include <algorithm>

#include "view/number_text.h"
#include "view/page.h"

namespace hopbench {
namespace {

constexpr std::size_t usual_margin = 2;  // before the first column, and between two
constexpr std::size_t least_room = 10;

std::string line_of(const std::string& head, bool upper) {
  const std::size_t border = head.find('\n');
  if (border == std::string::npos) return upper ? "" : head;
  return upper ? head.substr(0, border) : head.substr(border + 1);
}

std::string padded(const std::string& text, std::size_t width, bool left) {
  const std::string spaces(width - std::min(width, characters_in(text)), ' ');
  return left ? text + spaces : spaces + text;
}

std::string without_end_spaces(std::string line) {
  line.erase(line.find_last_not_of(' ') + 1);
  return line;
}

}  // namespace

std::size_t TextTable::width_of(std::size_t column) const {
  const std::string& head = columns_[column].head;
  std::size_t width = std::max(characters_in(line_of(head, true)), characters_in(line_of(head, false)));
  for (const Row& row : rows_) width = std::max(width, characters_in(row.cells[column]));
  return width;
}

std::size_t TextTable::others(std::size_t column) const {
  std::size_t sum = 0;
  for (std::size_t i = 0; i < columns_.size(); ++i) sum += i == column ? 0 : width_of(i);
  return sum;
}

std::size_t TextTable::margin(std::size_t others) const {
  return others + least_room + columns_.size() * usual_margin > page_width() ? 1 : usual_margin;
}

std::size_t TextTable::room(std::size_t which) const {
  const std::size_t taken = others(which) + columns_.size() * margin(others(which));
  return std::max(least_room, page_width() - std::min(page_width(), taken));
}

std::string TextTable::text(bool colour) const {
  std::vector<std::size_t> widths;
  for (std::size_t i = 0; i < columns_.size(); ++i) widths.push_back(width_of(i));
  const auto named = std::find_if(columns_.begin(), columns_.end(), [](const Column& each) { return each.names; });
  const std::string space(margin(others(static_cast<std::size_t>(named - columns_.begin()))), ' ');
  const auto line = [&](auto cell) {
    std::string out;
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      out += space + padded(cell(i), widths[i], columns_[i].names);
    }
    return without_end_spaces(out);
  };
  std::string out;
  for (const bool upper : {true, false}) {
    const std::string head = line([&](std::size_t i) { return line_of(columns_[i].head, upper); });
    if (!head.empty()) out += head + "\n";
  }
  for (const Row& row : rows_) {
    std::string text = line([&](std::size_t i) { return row.cells[i]; });
    if (row.marked) text[0] = '>';
    out += row.marked && colour ? "\x1b[1m" + text + "\x1b[0m\n" : text + "\n";
    out += row.below;
  }
  return out;
}

}  // namespace hopbench
