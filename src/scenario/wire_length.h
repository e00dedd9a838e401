// How long frames are on the wire, whatever their content makes of the stuffing.
#pragma once

#include <cstdint>

#include "bus/protocol.h"

namespace hopbench {

/// Characters that this frame has if nothing in it has to be stuffed, and if as much as can be has to.
std::uint64_t least_chars(const Protocol& protocol, const Frame& frame);
std::uint64_t most_chars(const Protocol& protocol, const Frame& frame);

}  // namespace hopbench
