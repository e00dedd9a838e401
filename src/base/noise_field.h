// Noise as a field of marked points: a Poisson process over (turn, bit, mark) that exists before any
// traffic does. A bit is hit if a point lies on it whose mark is under the rate that holds there.
//
// This is thinning (Lewis and Shedler, "Simulation of nonhomogeneous Poisson processes by thinning",
// Naval Research Logistics Quarterly 26, 1979; from memory). Three things follow: a rate that changes
// with conditions needs no integration; a lower rate only takes hits away and never adds one; and any
// part of the field can be computed without the rest of it.
#pragma once

#include <cstdint>

#include "base/integer_log.h"
#include "base/luck.h"

namespace hopbench {

/// Bits of a frame that share one row of the field. Longer frames use several rows.
inline constexpr std::uint32_t field_row_bits = 256;

/// One point. It strikes if mark < the rate at its bit.
struct NoisePoint {
  std::uint64_t turn = 0;
  std::uint32_t bit = 0;  // 0..field_row_bits-1
  Rate mark = 0;
  friend bool operator==(const NoisePoint&, const NoisePoint&) = default;
};

/// Largest rate the field knows, per bit: beyond it a bit is as good as random.
inline constexpr Rate max_rate = Rate{1} << 56U;

/// The first point at or after (turn, bit) with mark < cap (cap <= max_rate; 0 finds nothing), looking
/// no further than the end of turn `last_turn`. Returns false if there is none. A pure function: the
/// same arguments give the same point, in any order of calls.
bool first_point(StreamKey row, std::uint64_t turn, std::uint32_t bit, Rate cap, std::uint64_t last_turn,
                 NoisePoint& found);

}  // namespace hopbench
