#include "judge/strata.h"

#include <limits>

namespace hopbench {

CommonDifference common_difference(std::span<const Stratum> strata) {
  CommonDifference common;
  double for_it = 0;
  double against = 0;
  double difference = 0;
  double weight = 0;
  for (const auto& [first, second] : strata) {
    if (first.trials <= 0 || second.trials <= 0) continue;
    const double n = first.trials + second.trials;
    for_it += second.hits * (first.trials - first.hits) / n;
    against += first.hits * (second.trials - second.hits) / n;
    const double w = first.trials * second.trials / n;
    difference += w * (second.share() - first.share());
    weight += w;
  }
  if (weight <= 0) return common;
  common.difference = difference / weight;
  if (against > 0) {
    common.odds_ratio = for_it / against;
  } else if (for_it > 0) {
    common.odds_ratio = std::numeric_limits<double>::infinity();
  }
  return common;
}

}  // namespace hopbench
