// Whether a chain does better after a change than before it, from what was observed of both.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "judge/strata.h"
#include "seen/reality.h"
#include "study/tallies.h"

namespace hopbench {

enum class Verdict : std::uint8_t {
  better,
  worse,          // overall, or better overall and worse at a place
  no_difference,  // none seen
  cannot_say,     // none seen, and these data would not have shown one that matters
  not_comparable
};
std::string_view name_of(Verdict verdict);

/// A share of failures on both sides.
struct SharePair {
  std::string name;
  Counted before;
  Counted after;
  Difference difference;     // 95 %, counting trials for what they are worth in clusters
  double fisher = 1;         // two-sided, as if trials were independent
  double p = 1;              // by whole clusters
  double adjusted = 1;       // after Holm, over its group
  double smallest_rise = 0;  // that would have been seen four times of five

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

struct Comparison {
  Verdict verdict = Verdict::not_comparable;
  std::string sentence;  // the verdict, in words
  std::vector<std::string> cautions;
  Reality before = Reality::simulated;
  Reality after = Reality::simulated;
  std::string unit;  // of clusters: "charge cycles", "blocks of 30 min"
  std::size_t clusters_before = 0;
  std::size_t clusters_after = 0;
  SharePair exchanges;  // not answered
  SharePair tries;      // that came to nothing
  std::vector<SharePair> hops;
  std::vector<SharePair> nodes;
  std::vector<SharePair> topics;
  std::vector<SharePair> balancing;  // one for each bin that either has
  CommonDifference common;           // of tries, at equal numbers of cells balancing
  double common_p = 1;               // by whole clusters
  double common_adjusted = 1;        // after Holm, with tries and exchanges
  double overlap = 1;                // how much of the tries lies at numbers of cells balancing that both have: 0..1
  RoundTrips round_trips;
};

struct CompareOptions {
  double worse_by = 0.001;  // a rise of the share of failures by less than this does not matter
};

Comparison compare(Tallies before, Tallies after, const CompareOptions& options);

}  // namespace hopbench
