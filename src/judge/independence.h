// Whether trials that came one after another were independent of each other, or failed in bunches.
#pragma once

#include <cstdint>
#include <span>

#include "judge/difference.h"

namespace hopbench {

/// Chance that `hits` hits among `trials` trials in a row stand together in at most `runs` runs, if every order is as
/// likely: exact, after A. Wald and J. Wolfowitz, Annals of Mathematical Statistics 11 (1940) 147. 1 where there is
/// nothing to tell: fewer than two hits, or no trial without.
double few_runs(std::uint64_t hits, std::uint64_t trials, std::uint64_t runs);

struct Dispersion {
  double ratio = 1;  // variance of the hits between blocks over that of independent trials of one share
  double p = 1;      // chance of at least this ratio, if they are independent
};

/// The test of homogeneity of shares (Pearson's chi-square; with equal blocks and rare hits it is Fisher's index of
/// dispersion). Neighbouring blocks are joined until each holds `least_expected` hits on average (5: common practice,
/// after W. G. Cochran, Biometrics 10 (1954) 417). Nothing is found with fewer than two such blocks.
Dispersion dispersion_of(std::span<const Counted> blocks, double least_expected = 5);

}  // namespace hopbench
