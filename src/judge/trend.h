// Whether failures become more frequent as a condition rises, where what is independent is not a try but a cluster of
// them: a charge cycle, or a block of time.
#pragma once

#include <cstdint>
#include <span>

namespace hopbench {

/// Tries of one cluster and one stratum at one value of the condition, and how many of them failed.
struct Tried {
  std::uint32_t cluster = 0;
  std::uint32_t stratum = 0;
  double value = 0;
  double tries = 0;
  double failures = 0;
};

struct Trend {
  bool tested = false;  // enough varied together within the strata, in enough clusters
  double t = 0;         // positive: more failures at higher values
  double p = 1;         // two-sided
  /// Failures where the condition is above its mean within the stratum, over what would be expected, against the same
  /// below it: how many times as frequent.
  double ratio = 1;
  std::uint32_t clusters = 0;
  /// Failures that would be expected, if the condition did nothing, at all values but the most frequent one of each
  /// stratum: what there is to compare with.
  double comparable = 0;
};

/// The score of Cochran and Armitage's trend test within each stratum, summed by cluster; its mean over clusters is
/// tested against nothing by Student's t, so that failures that come in bunches within a cluster count as one
/// observation of it. Not tested with fewer than `least_clusters` clusters or fewer than `least_comparable` failures
/// to compare.
Trend trend_of(std::span<const Tried> rows, std::uint32_t least_clusters = 6, double least_comparable = 5);

}  // namespace hopbench
