// What trials go by, and what they come to.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "bus/protocol.h"
#include "coexist/chain_maker.h"
#include "coexist/promise.h"

namespace hopbench {

/// In how much it was tried.
struct TrialCounts {
  std::uint64_t chains = 0;  // in which there was something to try
  std::uint64_t exchanges = 0;
  std::uint64_t frames = 0;   // on all hops
  std::uint64_t strikes = 0;  // frames damaged, held up or repeated on purpose
  std::uint64_t resets = 0;   // of nodes, and nodes silenced
  std::uint64_t pairs = 0;    // of clocks
  void add(const TrialCounts& other);
  friend bool operator==(const TrialCounts&, const TrialCounts&) = default;
};

struct Trial {
  std::optional<std::string> breach;  // what went against the promise, in one sentence; none if it was kept
  std::string note;                   // a figure worth telling though the promise was kept; or empty
  Nanos note_weight = 0;              // of several notes the one with the largest is told
  TrialCounts counts;                 // chains 0: there was nothing to try here
};

/// What trials go by. All outlives them.
struct TrialGround {
  const Protocol& protocol;
  const ChainMaker& maker;
  std::uint64_t seed;
  std::optional<Nanos> unread_limit;  // the longest that a cell may go unread, if the scenario requires that
};

}  // namespace hopbench
