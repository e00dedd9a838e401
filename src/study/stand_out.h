// Hops that lose more frames than the others.
#pragma once

#include <cstdint>
#include <vector>

#include "study/evidence.h"

namespace hopbench {

/// As many frames (or tries) as may go well within an episode, one after the other.
inline constexpr std::uint32_t good_within = 2;

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
