// Runs that are broken off at quiet points: saved, thrown away, and gone on with in another chain.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "support/collector.h"

namespace hopbench {

struct BrokenRun {
  Collector kept;                                // what all pieces told
  std::vector<std::vector<std::uint8_t>> saved;  // in order
  std::string trouble;                           // the first thing that went wrong; empty if nothing
  bool stuck = false;
};

/// Runs until `until`, in one piece.
Collector unbroken_run(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed, Way way,
                       Nanos until, bool& stuck);
/// The same, broken at the first quiet point at or after each of `instants` (in rising order). The pieces take `ways`
/// in turn. A chain that has just been put back must save the same bytes at once.
BrokenRun broken_run(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed,
                     const std::vector<Way>& ways, const std::vector<Nanos>& instants, Nanos until);
/// Where the first record differs; empty if nothing does.
std::string first_difference(const Collector& one, const Collector& other);

}  // namespace hopbench
