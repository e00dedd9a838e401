// How long something can wait for a processor that has other duties.
#pragma once

#include <cstdint>

#include "scenario/description.h"

namespace hopbench {

/// The longest stretch without a break that duties can make together, whatever their phases; `never` if nothing bounds
/// it. The fixed point of the response-time equation (M. Joseph, P. Pandya, "Finding response times in a real-time
/// system", The Computer Journal 29(5), 1986, from memory), each start late by its jitter.
Nanos longest_busy(const ProcessorSpec& processor, std::uint32_t bleeding_cells);

}  // namespace hopbench
