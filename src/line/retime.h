// A node that passes characters on as they come: when each goes out again, and which do not fit its FIFO.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "base/time.h"

namespace hopbench {

struct Retimed {
  std::vector<Nanos> starts;          // of the characters that went out
  std::vector<std::uint32_t> passed;  // which of those heard they are
  bool overrun = false;               // some were lost
};

/// Character i, heard whole at heard[i], goes out as soon as the one before it is out, `lag` after it was heard, and
/// not before `not_before`. At most `fifo` characters wait (the one being sent apart); one that finds the FIFO full is
/// lost. Closed form over the times alone.
void retime(std::span<const Nanos> heard, Nanos not_before, Nanos lag, std::uint32_t char_half_bits, Period out_period,
            std::uint32_t fifo, Retimed& result);

}  // namespace hopbench
