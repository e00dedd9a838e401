// What a run's summary is made of and how it is to look, as values: for the summary and the parts of its text.
#pragma once

#include <algorithm>
#include <cstdint>

#include "measure/causes.h"
#include "measure/measures.h"
#include "measure/rounds.h"

namespace hopbench {

/// What was amiss with the capture that the numbers come from.
struct CaptureNote {
  std::uint64_t bytes_skipped = 0;
  std::uint64_t records_missing = 0;
  std::uint64_t torn_bytes = 0;
  bool unclosed = false;
  std::uint64_t files_missing = 0;      // of a capture in several, as the two below
  std::uint64_t files_misplaced = 0;    // in the place of another; not read
  std::uint64_t files_cut = 0;          // breaks off although the next goes on
  std::uint64_t causes_unreadable = 0;  // exchanges

  [[nodiscard]] bool any() const {
    return bytes_skipped > 0 || records_missing > 0 || torn_bytes > 0 || unclosed || files_missing > 0 ||
           files_misplaced > 0 || files_cut > 0 || causes_unreadable > 0;
  }
};

/// References must outlive it.
struct Summary {
  const RunInfo& run;
  const Measures& measures;
  const CauseCounts* causes = nullptr;  // null where they are not known
  CaptureNote capture;
  Coverage coverage{};
  std::uint64_t captures = 1;             // how many it was merged from
  const RoundMeasures* rounds = nullptr;  // null where nothing is known of them

  /// Of the run's own time: what is covered, without holes and gaps.
  [[nodiscard]] Nanos seen_time() const {
    return std::max<Nanos>(0,
                           measures.covered() - std::min(coverage.hole_time, measures.covered()) - coverage.gap_time);
  }
};

struct TableStyle {
  bool colour = false;  // ANSI colours; they only repeat what the words say
  bool all = false;     // a row for each hop and node, also where many are healthy
};

}  // namespace hopbench
