// The trace that failures leave where they are seen: shares of them with this or that property. Two mechanisms with the
// same trace cannot be told apart.
#pragma once

#include <array>
#include <cstdint>
#include <string>

#include "study/cases.h"

namespace hopbench {

enum class Mark : std::uint8_t {
  alone,           // the try before and the one after went well, whichever nodes
  in_long_run,     // among eight or more tries in a row that failed
  in_very_long,    // among 64 or more
  node_alone,      // the same among tries with one node
  node_run,        // among four or more tries in a row with one node
  with_one_node,   // with the node that has most of them
  by_entry,        // with plan entries that fail three times as often as all tries together
  at_once,         // within the tenth of the time that has most of them
  without_charge,  // told: no charge current
  without_bleed,   // told: no cell balancing
  after_silence,   // after a silence longer than most
  overrun,         // marked as overrun where they were seen
};
inline constexpr std::size_t mark_count = 12;

struct Leavings {
  double failures = 0;
  double rate = 0;  // of all tries
  /// Share with this mark; below 0: not known.
  std::array<double, mark_count> share{};
  /// Failures of which the mark is known.
  std::array<double, mark_count> known{};
};

/// Of a case's failures.
Leavings trace_of(const Evidence& evidence, const Case& which);

/// As in "80 % ...": "come one by one".
std::string phrase_of(Mark mark);

}  // namespace hopbench
