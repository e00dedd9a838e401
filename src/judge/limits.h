// How far a share that was counted can be trusted. Never stored.
#pragma once

#include <cstdint>
#include <optional>

namespace hopbench {

/// A share and its exact two-sided limits.
struct Share {
  double value = 0;
  double low = 0;
  double high = 1;
};

/// `hits` of `trials` (hits <= trials), with limits after Clopper and Pearson, Biometrika 26 (1934): they hold at
/// least `confidence` of the time, whatever the true share is, if the trials are independent. None without trials, or
/// for more hits than trials (counts of a made-up capture).
std::optional<Share> share_of(std::uint64_t hits, std::uint64_t trials, double confidence = 0.95);

/// The same of numbers that need not be whole: what trials in bunches are worth. None without trials.
std::optional<Share> effective_share(double hits, double trials, double confidence = 0.95);

/// A share of fewer makes no headline: its limits are too far apart to say anything.
inline constexpr std::uint64_t least_trials = 10;

}  // namespace hopbench
