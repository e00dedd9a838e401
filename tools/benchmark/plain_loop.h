// The yardstick: ring16 as anybody would write it first, a priority queue of events and nothing clever.
#pragma once

#include <cstdint>

namespace hopbench {

struct PlainResult {
  std::uint64_t asked = 0;
  std::uint64_t answered = 0;
  std::uint64_t lost = 0;
  std::uint64_t events = 0;
};

/// Sixteen nodes in a ring at 9600 Bd, each stores a frame, checks its CRC-16, waits 200 us and passes it on or
/// answers; asks of 12 and answers of 20 bytes, polled in turn every 1.3824 s; each bit is hit with `bit_error`; a
/// histogram of transit per hop and one of round trips. Its luck is its own.
PlainResult plain_ring16(std::uint64_t exchanges, double bit_error, std::uint64_t seed);

}  // namespace hopbench
