// Two shares at equal values of something else.
#pragma once

#include <span>

#include "judge/difference.h"

namespace hopbench {

struct Stratum {
  Counted first;
  Counted second;
};

/// After N. Mantel, W. Haenszel, Journal of the National Cancer Institute 22 (1959) 719-748. Strata without trials on
/// one side say nothing and are left out.
struct CommonDifference {
  double odds_ratio = 1;  // of the second to the first, common to all strata; infinite, or 1 where nothing is known
  double difference = 0;  // of shares, second less first, weighted by n1 n2 / (n1 + n2)
};

CommonDifference common_difference(std::span<const Stratum> strata);

}  // namespace hopbench
