// Scenarios with what goes on around the frames: duties of processors, batteries and heat, ripple, bleeds, sleep,
// supply. Much quicker and coarser than any real board, so that a short run sees a lot of it.
#pragma once

#include <cstdint>

#include "support/random_scenario.h"

namespace hopbench {

/// The same number gives the same scenario.
RandomScenario physical_scenario(std::uint64_t number);

/// One of these in which what keeps exchanges from being told again comes often: clocks at the edge of what a receiver
/// bears, clocks that move with heat, duties on one or two nodes, sleepers, bleeds that come and go.
RandomScenario edgy_scenario(std::uint64_t number);

}  // namespace hopbench
