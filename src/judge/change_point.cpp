#include "judge/change_point.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <vector>

namespace hopbench {

ChangePoint change_point(std::span<const double> values) {
  const std::size_t n = values.size();
  if (n < 2) return {};
  std::vector<std::size_t> order(n);
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
  // For each value: how many are less than it, less how many are greater. Their sum up to a place is Pettitt's U.
  std::vector<std::int64_t> above(n);
  for (std::size_t from = 0; from < n;) {
    std::size_t to = from;
    while (to < n && values[order[to]] == values[order[from]]) ++to;
    for (std::size_t i = from; i < to; ++i) {
      above[order[i]] = static_cast<std::int64_t>(from) - static_cast<std::int64_t>(n - to);
    }
    from = to;
  }
  ChangePoint found;
  std::int64_t sum = 0;
  std::int64_t farthest = 0;
  for (std::size_t i = 0; i + 1 < n; ++i) {
    sum += above[i];
    if (std::abs(sum) <= std::abs(farthest)) continue;
    farthest = sum;
    found.first_after = i + 1;
  }
  if (farthest == 0) return {};
  found.upward = farthest < 0;
  const auto k = static_cast<double>(farthest);
  const auto length = static_cast<double>(n);
  found.p = std::min(1.0, 2 * std::exp(-6 * k * k / (length * length * length + length * length)));
  return found;
}

}  // namespace hopbench
