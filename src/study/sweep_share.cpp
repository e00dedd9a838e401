#include "study/sweep_share.h"

#include "judge/clusters.h"
#include "judge/homogeneity.h"

namespace hopbench {
namespace {

/// A preliminary test: one that calls seeds different too often costs width, one that does not costs the truth.
constexpr double level = 0.05;

}  // namespace

SweepShare sweep_share(std::span<const Counted> by_seed) {
  Counted all;
  for (const Counted& each : by_seed) {
    all.hits += each.hits;
    all.trials += each.trials;
  }
  SweepShare found;
  found.share = effective_share(all.hits, all.trials);
  if (!found.share) return found;
  found.seeds_p = homogeneity(by_seed, Luck(0).stream(name_hash("seeds of a sweep"), Purpose::permutation, 0));
  if (found.seeds_p >= level) return found;
  const double worth = effective_trials(by_seed);
  if (worth <= 0 || worth >= all.trials) return found;
  found.by_seeds = true;
  found.share = effective_share(all.hits * worth / all.trials, worth);
  return found;
}

}  // namespace hopbench
