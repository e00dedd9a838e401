// Which of many alike does worse than the others: hops by frames lost, nodes by what they counted.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "study/evidence.h"

namespace hopbench {

struct Outlier {
  std::size_t index = 0;
  double adjusted_p = 1;  // after Holm, over all of them
};

/// Those whose share of hits is at least twice that of all that are left when it and worse ones are taken away, and
/// more than chance would have it (one-sided exact binomial test, Holm over all, 1 % family-wise). Worst first. Hits
/// must be independent.
std::vector<Outlier> outliers(std::span<const double> hits, std::span<const double> trials);

/// A link whose share of frames not heard well stands out from those of the others.
struct StandOut {
  std::uint16_t link = no_link;
  std::uint64_t episodes = 0;  // damage closer together than a few exchanges counts once
  std::uint64_t in_a_row = 0;  // most frames lost in one of them
  double adjusted_p = 1;       // after Holm, over all links; 0 for one that stands out by what it lost in a row
};

/// Links that stand out, worst first. Empty unless hops were seen.
std::vector<StandOut> standing_out(const Evidence& evidence);

}  // namespace hopbench
