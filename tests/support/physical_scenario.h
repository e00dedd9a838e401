// Scenarios with what goes on around the frames: duties of processors, batteries and heat, ripple, bleeds, sleep,
// supply. Much quicker and coarser than any real board, so that a short run sees a lot of it.
#pragma once

#include <cstdint>

#include "support/random_scenario.h"

namespace hopbench {

/// The same number gives the same scenario.
RandomScenario physical_scenario(std::uint64_t number);

}  // namespace hopbench
