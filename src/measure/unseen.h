// How long a cell went without anybody learning its voltage.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "base/time.h"
#include "seen/observation.h"

namespace hopbench {

/// Neighbouring cells of one node that are always told together: one state for all of them. A cell is seen at the
/// instant when an answer that tells its voltage ends; one that no plan entry asks for is in no group.
///
/// Spans are taken between instants that follow one another in the order in which exchanges closed. Where exchanges
/// overlap so that a later one was answered earlier, the longest span may come out too long, never too short.
struct CellsUnseen {
  struct Longest {
    Nanos span = 0;
    Nanos from = 0;         // when it began
    std::uint32_t run = 0;  // which of the runs that were merged, from 0
    friend bool operator==(const Longest&, const Longest&) = default;
  };

  std::uint16_t node = 0;  // index into RunInfo.nodes
  std::uint32_t first_cell = 0;
  std::uint32_t cells = 0;
  bool ever_seen = false;  // in any of the runs that were merged
  bool seen_once = false;  // in the run that may go on, or known to be missing
  Nanos first = 0;         // seen for the first and the last time
  Nanos last = 0;
  Longest longest;  // between one time and the next

  void seen(Nanos at) {
    if (seen_once) {
      between(last, at);
    } else {
      first = at;
      seen_once = true;
    }
    last = at;
    ever_seen = true;
  }
  [[nodiscard]] bool same_cells(const CellsUnseen& other) const {
    return node == other.node && first_cell == other.first_cell && cells == other.cells;
  }
  /// From `from` to `to` records are known to be missing: whether it was seen nobody knows. Such a span does not count.
  void blind(Nanos from, Nanos to);
  /// What came right after this in the same run.
  void append(const CellsUnseen& next);
  /// A run from `from` to `until` is over: its ends count as well, and nothing will be joined to them.
  void close_ends(Nanos from, Nanos until);
  /// Of a run that went from `from` to `until`, or goes on and got so far.
  [[nodiscard]] Longest longest_in(Nanos from, Nanos until) const;

  friend bool operator==(const CellsUnseen&, const CellsUnseen&) = default;

 private:
  void between(Nanos a, Nanos b) {
    const Nanos from = a < b ? a : b;
    // Instants of a made-up capture may be as far apart as there are.
    const std::uint64_t wide = static_cast<std::uint64_t>(a < b ? b : a) - static_cast<std::uint64_t>(from);
    const Nanos span = wide > static_cast<std::uint64_t>(never) ? never : static_cast<Nanos>(wide);
    if (span > longest.span) longest = {span, from, 0};
  }
};

/// Which groups the answers of a plan entry tell of: those from `begin` up to, not including, `end`.
struct GroupSpan {
  std::uint32_t begin = 0;
  std::uint32_t end = 0;
};

/// The groups of a run, by node and cell, and for each of its entries the ones that it tells of.
std::vector<CellsUnseen> cell_groups(const RunInfo& run, std::vector<GroupSpan>& of_entry);

/// When the answer of an answered exchange ended: start of the try that was answered, and its round trip; or, if that
/// is not told, when its outcome was decided.
Nanos answer_end(const ExchangeObs& obs);

}  // namespace hopbench
