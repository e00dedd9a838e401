// Two groups of clusters: failures that come in bunches within a cluster (a charge cycle, a block of time) count as one
// observation of it.
#pragma once

#include <cstdint>
#include <functional>
#include <span>

#include "base/luck.h"
#include "judge/difference.h"

namespace hopbench {

/// How many independent trials these are worth for normal limits of the share of hits in all of them: the variance of a
/// ratio between clusters (residuals about the common share, times m / (m - 1)) against that of independent trials,
/// made fewer by how much farther Student's t reaches than the normal law with so few clusters. Never more trials than
/// there are, and those where clusters vary no more than independent trials would. 0 with fewer than two clusters that
/// hold any. `times`: of so many times as many clusters like these.
double effective_trials(std::span<const Counted> clusters, double times = 1);

/// That both groups have the same share, by Welch's t test on the residuals of whole clusters, two-sided. 1 where it
/// cannot be told.
double welch_by_cluster(std::span<const Counted> first, std::span<const Counted> second);

/// Tells for each cluster of both groups whether it counts to the second.
using Split = std::span<const std::uint8_t>;

struct Permuted {
  double p = 1;
  std::uint64_t splits = 0;  // that were looked at, this one included
  bool all = false;          // every one there is
};

/// Chance that a split of these clusters into two groups of these sizes shows at least what this one does, if it makes
/// no difference: over all splits where there are at most 20,000, else over `draws` random ones and this one
/// (B. Phipson, G. K. Smyth, Statistical Applications in Genetics and Molecular Biology 9 (2010) article 39).
/// `statistic`: never negative, larger is farther from no difference. `luck`: of the draws.
Permuted permuted(std::size_t first, std::size_t second, const std::function<double(Split)>& statistic, StreamKey luck,
                  std::uint32_t draws = 9999);

/// The smallest p that permuted() can come to with all splits of groups of these sizes, whatever the clusters hold.
double least_p(std::size_t first, std::size_t second);

}  // namespace hopbench
