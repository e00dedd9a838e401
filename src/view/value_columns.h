// The columns of a sweep's tables that say which point of the grid a row is of.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "study/sweep.h"

namespace hopbench {

/// A column for each varied field, named by the last part of its path, or by all of it where two end alike.
class ValueColumns {
 public:
  explicit ValueColumns(const SweepPlan& plan);
  [[nodiscard]] std::string heads() const { return line(heads_); }
  /// One value for each field. What does not fit is cut.
  [[nodiscard]] std::string line(const std::vector<std::string>& values) const;

 private:
  std::vector<std::string> heads_;
  std::vector<std::size_t> sizes_;
};

}  // namespace hopbench
