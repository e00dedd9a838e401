// How warm a board can become and how much supply it can have, from what a scenario states. Bounds: no run goes beyond.
#pragma once

#include <cstddef>
#include <cstdint>

#include "scenario/description.h"

namespace hopbench {

struct BoardRange {
  std::int64_t least_mc = 0;
  std::int64_t most_mc = 0;
  std::int64_t least_uv = 0;
  std::int64_t most_uv = 0;
};

/// Air with its swing; from its own power alone to all cells bled at their highest voltage; cells from empty and under
/// load to full or `absorb`, less what taps lose.
BoardRange board_range(const ChainDescription& chain, std::size_t node);

/// What a clock can be off by beside its own error and trim, in parts of 1e9; fast is positive.
struct PpbRange {
  std::int64_t least = 0;
  std::int64_t most = 0;
};
PpbRange board_clock_range(const BoardSpec& board, const BoardRange& range);

/// The board of a node: its own, or its kind's.
const BoardSpec& board_spec(const ChainDescription& chain, std::size_t node);

}  // namespace hopbench
