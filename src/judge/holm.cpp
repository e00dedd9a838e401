#include "judge/holm.h"

#include <algorithm>
#include <numeric>

namespace hopbench {

std::vector<double> holm(std::span<const double> p) {
  std::vector<std::size_t> order(p.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](auto a, auto b) { return p[a] < p[b]; });
  std::vector<double> adjusted(p.size());
  double worst = 0;
  for (std::size_t rank = 0; rank < order.size(); ++rank) {
    worst = std::max(worst, std::min(1.0, p[order[rank]] * static_cast<double>(p.size() - rank)));
    adjusted[order[rank]] = worst;
  }
  return adjusted;
}

}  // namespace hopbench
