// What a comparison of two shares can show: the smallest change that it would have shown, and how much longer one must
// count to show a change that is there. By the normal approximation, pooled under no difference: J. L. Fleiss,
// "Statistical Methods for Rates and Proportions", chapter 4. Trials may be the smaller numbers that trials in clusters
// are worth.
#pragma once

#include <cstdint>
#include <optional>

#include "judge/difference.h"

namespace hopbench {

/// A two-sided test at `level` that shows what is there in a share of `power` of all comparisons.
struct Power {
  double level = 0.05;
  double power = 0.8;
};

/// The smallest rise above `share` that `trials_1` against `trials_2` trials would show. None if they would not show
/// even a rise to all.
std::optional<double> smallest_rise(double share, double trials_1, double trials_2, Power power);

/// The smallest fall below `share` that they would show. None if they would not show even a fall to nothing.
std::optional<double> smallest_fall(double share, double trials_1, double trials_2, Power power);

/// How many times as many trials on both sides would show the difference of these two shares, if they stay as they are.
/// None if they are equal, or if there are no trials.
std::optional<double> times_to_show(Counted first, Counted second, Power power);

/// How many clusters in all would show, by Student's t test of their mean score against 0, the effect that so many of
/// them showed with this t: the least number N >= 2 at which the non-central t distribution with N - 1 degrees of
/// freedom and non-centrality d * sqrt(N), d = |t| / sqrt(clusters), lies beyond the test's limit with `power.power`.
/// None for no effect, or beyond `most`. J. Cohen, "Statistical Power Analysis for the Behavioral Sciences", 2nd ed.
/// (1988), chapter 2, one mean.
std::optional<std::uint64_t> clusters_to_show(double t, std::uint64_t clusters, Power power, std::uint64_t most);

}  // namespace hopbench
