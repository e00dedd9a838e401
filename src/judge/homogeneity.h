// Whether clusters have one share in common, or differ by more than chance.
#pragma once

#include <span>

#include "base/luck.h"
#include "judge/difference.h"

namespace hopbench {

/// Chance that clusters differ by at least as much as these if they have one share in common: the exact test that goes
/// with Pearson's chi-square, given how many hits there are in all. As many hits (misses, if those are fewer) are dealt
/// out among the trials at random, again and again. The chance is how often the statistic is at least as large, this
/// deal included (B. Phipson, G. K. Smyth, Statistical Applications in Genetics and Molecular Biology 9 (2010) article
/// 39). It holds for few hits as well. Where each cluster expects five hits and five misses, the chi-square law takes
/// the place of the deals (W. G. Cochran, Biometrics 10 (1954) 417). 1 where there is nothing to tell: fewer than two
/// clusters with trials, fewer than two hits or misses. Counts are whole. `luck`: of the deals.
double homogeneity(std::span<const Counted> clusters, StreamKey luck);

}  // namespace hopbench
