// The share of exchanges that failed at one point of a sweep, from several runs that differ in their seed.
#pragma once

#include <optional>
#include <span>

#include "judge/difference.h"
#include "judge/limits.h"

namespace hopbench {

struct SweepShare {
  std::optional<Share> share;  // with 95 % limits; none if nothing was asked
  double seeds_p = 1;          // chance that seeds differ as much as these if they all have the same share
  bool by_seeds = false;       // they differ by more than chance: the limits are those of seeds, not of exchanges
};

/// Exchanges of one run share its luck: what was drawn once for the run (how far a clock is off, say) is the same for
/// them all. Where seeds differ by more than chance (at 5 %), each counts as one observation: the variance of the share
/// between them says how many independent exchanges these are worth, with Student's t for so few, and the limits are
/// those of Clopper and Pearson for as many. (E. L. Korn, B. I. Graubard, Survey Methodology 24 (1998) 193, from
/// memory: for few failures these hold better than an interval of the mean plus or minus t standard errors.) Elsewhere
/// they are the exact ones of all exchanges. `by_seed`: one for each run.
SweepShare sweep_share(std::span<const Counted> by_seed);

}  // namespace hopbench
