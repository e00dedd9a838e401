// A small ring on a bus that has only the defences it is given, and what one injected error does to it. For
// defences_test.cpp.
#pragma once

#include <cstdint>
#include <vector>

#include "support/small_chain.h"

namespace hopbench {

/// What may guard an exchange. Without any of them a frame says its role, its topic and how many hops it still goes.
struct Defences {
  bool number = false;     // the ask is numbered, the answer repeats the number, and the controller compares
  bool time_out = false;   // the controller waits so long and no longer; without: an hour
  bool addresses = false;  // each frame says who sent it, and the controller compares
  bool check = false;      // a CRC of 16 bits over the whole frame
};

/// Who is asked. What comes from an exchange before is the same node's, or another's.
enum class PollOrder : std::uint8_t {
  several_each,  // three cells of each of the three nodes: both happens
  in_turn,       // one cell of each node: always another's
  one_node,      // three cells of one node: always its own
};

/// Long for this ring, whose round trip takes a few milliseconds; an answer that takes longer is overdue.
inline constexpr Nanos longest_wait = 100 * millisecond;

/// Three nodes, no pause between exchanges: what comes too much comes while the next exchange is open. An answer that
/// comes late is taken if it fits; only the exchange number is left to tell.
SmallChain defended(const Defences& defences, PollOrder order);

struct Toll {
  std::uint64_t strikes = 0;    // each in a run of its own
  std::uint64_t mistaken = 0;   // some exchange took a wrong, old, foreign or overdue value
  std::uint64_t unnoticed = 0;  // the controller did not find out that the reply was missing
};

/// Lets the fault strike one frame in each run: on each link, in each of several exchanges. What address faults put in
/// is another node's.
Toll strike(const SmallChain& healthy, const FaultSpec& fault);

}  // namespace hopbench
