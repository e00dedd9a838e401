// Which of many alike do worse than the others.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace hopbench {

struct Outlier {
  std::size_t index = 0;
  double adjusted_p = 1;  // after Holm, over all of them
};

/// Those whose share of hits is at least twice that of all that are left when it and worse ones are taken away, and
/// more than chance would have it (one-sided exact binomial test, Holm over all, 1 % family-wise). Worst first. Hits
/// must be independent.
std::vector<Outlier> outliers(std::span<const double> hits, std::span<const double> trials);

}  // namespace hopbench
