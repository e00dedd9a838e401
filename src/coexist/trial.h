// One promise tried on one chain.
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

/// Deterministic: the same ground and order give the same trial. `balancing`: every cell that can be is bled meanwhile;
/// of promises that no bleeding can break there is then nothing to try.
Trial trial_of(PromiseNumber promise, const TrialGround& ground, const KindOrder& order, bool balancing);

/// Why nobody can try this promise whatever the chain; empty if trials can.
std::string not_triable(PromiseNumber promise, const TrialGround& ground);

}  // namespace hopbench
