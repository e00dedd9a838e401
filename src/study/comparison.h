// What a comparison of two captures has to say.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "judge/strata.h"
#include "seen/reality.h"

namespace hopbench {

/// Of the whole, and of each group of places, after Holm.
inline constexpr double compare_level = 0.05;

enum class Verdict : std::uint8_t {
  better,
  worse,          // overall, or better overall and worse at a place
  no_difference,  // none seen
  cannot_say,     // none seen, yet one that matters may hide
  not_comparable
};
std::string_view name_of(Verdict verdict);

/// A share of failures on both sides.
struct SharePair {
  std::string name;
  Counted before;
  Counted after;
  Difference difference;       // 95 %, counting trials for what they are worth in clusters
  double fisher = 1;           // two-sided, as if trials were independent
  double p = 1;                // by whole clusters
  double adjusted = 1;         // after Holm, over its group
  bool same_as_tries = false;  // all of it is the tries over again: no test of its own, and in no group
  double worth_before = 0;     // independent trials that those in clusters are worth
  double worth_after = 0;
  double level = 0;                     // that p has to be under where Holm asks most
  std::optional<double> smallest_rise;  // that would have been seen at that level, four times of five; none: not even
  std::optional<double> smallest_fall;  // one to all, or to nothing

  [[nodiscard]] bool changed() const;
  [[nodiscard]] bool rose() const { return changed() && difference.value > 0; }
};

struct RoundTrips {
  std::uint64_t before = 0;  // how many
  std::uint64_t after = 0;
  struct Level {
    double share = 0;
    Nanos before = 0;  // as many do not take longer
    Nanos after = 0;
  };
  std::vector<Level> levels;
  double apart = 0;  // largest distance of the two distributions: Kolmogorov and Smirnov's
  Nanos apart_at = 0;
  double p = 1;  // by whole clusters
};

/// How many more clusters would do, if shares stay as they are.
struct More {
  std::optional<std::uint64_t> after_only;  // none: no number would do without more from before the change
  std::uint64_t before = 0;                 // or so many of each
  std::uint64_t after = 0;
};

struct Comparison {
  Verdict verdict = Verdict::not_comparable;
  std::string sentence;  // the verdict, in words
  std::vector<std::string> cautions;
  Reality before = Reality::simulated;
  Reality after = Reality::simulated;
  std::string unit;  // of clusters: "charge cycles", "blocks of 30 min"
  std::size_t clusters_before = 0;
  std::size_t clusters_after = 0;
  Nanos cluster_span = 0;  // of one after the change, on average
  std::size_t tests = 1;   // of the whole: tries, exchanges, tries at equal numbers of cells balancing; no copies
  double rise_that_matters = 0;
  double fall_that_matters = 0;
  std::optional<More> to_show;      // the difference that was seen; none: there is none, or it takes too many
  std::optional<More> to_rule_out;  // any that matters
  SharePair exchanges;              // not answered
  SharePair tries;                  // that failed
  std::vector<SharePair> outcomes;  // exchanges by what became of them; what neither side had is left out
  std::vector<SharePair> hops;
  std::vector<SharePair> nodes;
  std::vector<SharePair> topics;
  std::vector<SharePair> balancing;  // one for each bin that either has; empty if all are in one
  CommonDifference common;           // of tries, at equal numbers of cells balancing
  double common_p = 1;               // by whole clusters
  double common_adjusted = 1;        // after Holm, with tries and exchanges
  bool equal_numbers = false;        // both sides had the same numbers as often: `common` is no test of its own
  double overlap = 1;                // how much of the tries lies at numbers of cells balancing that both have: 0..1
  RoundTrips round_trips;
};

/// What matters: the share of failures rises to `factor` times what it was, and by `worse_by` at least; or it falls to
/// one `factor`th.
struct CompareOptions {
  double worse_by = 0.001;
  double factor = 2;

  [[nodiscard]] double rise_that_matters(double share) const { return std::max(worse_by, share * (factor - 1)); }
  [[nodiscard]] double fall_that_matters(double share) const { return share * (1 - 1 / factor); }
};

}  // namespace hopbench
