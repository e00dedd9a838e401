// Finds the place of a moment in a capture without reading what lies before.
#pragma once

#include <cstdint>
#include <optional>

#include "record/byte_source.h"
#include "record/frame_layout.h"

namespace hopbench {

/// Of `count` places in order, the last whose floor is below `time`; 0 if there is none. `floor_of(i)` is none where it
/// cannot be known; then the next known one stands in for it. O(log count) calls, and at most one more for each place
/// that is not known.
template <class FloorOf>
std::uint64_t last_below(std::uint64_t count, Nanos time, FloorOf floor_of) {
  std::uint64_t low = 0;
  std::uint64_t high = count;
  while (low + 1 < high) {
    const std::uint64_t middle = low + (high - low) / 2;
    std::uint64_t at = middle;
    std::optional<Nanos> floor;
    while (at < high && !(floor = floor_of(at))) ++at;
    if (floor && *floor < time) {
      low = at;
    } else {
      high = middle;
    }
  }
  return low;
}

/// The header of the block at that place, if it is good and of that run (of any, if none is given).
std::optional<BlockHeader> header_at(ByteSource& source, std::uint64_t block, std::optional<std::uint64_t> run_id);

/// A block such that no record that starts before it holds an exchange closed, or a tally that ends, at `time` or
/// later; not far before the first that does. Reads headers only.
std::uint64_t block_for(ByteSource& source, std::uint64_t run_id, Nanos time);

}  // namespace hopbench
