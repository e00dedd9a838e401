// Whether a series of values changed its level once, and where.
#pragma once

#include <cstddef>
#include <span>

namespace hopbench {

struct ChangePoint {
  std::size_t first_after = 0;  // index of the first value after the most likely change; 0: nothing to tell
  bool upward = false;
  double p = 1;  // that a series without a change has one as clear
};

/// A. N. Pettitt, "A non-parametric approach to the change-point problem", Applied Statistics 28 (1979) 126: ranks
/// before and after each place are compared, so that a few wild values weigh no more than others; p is his
/// approximation 2 exp(-6 K^2 / (n^3 + n^2)), at most 1. Takes time in proportion to n log n.
ChangePoint change_point(std::span<const double> values);

}  // namespace hopbench
