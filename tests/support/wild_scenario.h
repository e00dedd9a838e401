// Scenarios that random_scenario() leaves out: other framings, answers whose length hangs on a value, counters that
// wrap early, no pause at all between exchanges, edges that fall on one instant.
#pragma once

#include <cstdint>
#include <vector>

#include "base/time.h"
#include "support/random_scenario.h"

namespace hopbench {

/// The same number gives the same scenario. Most are healthier than those of random_scenario(), so that more of them is
/// told again from a recording.
RandomScenario wild_scenario(std::uint64_t number);

/// Moves what has a time (cables that open, resets, the windows of faults) onto some of `instants`, or next to them.
/// With the instants of a run of the same scenario, things happen exactly as a frame begins or ends.
void sharpen(RandomScenario& scenario, std::uint64_t number, const std::vector<Nanos>& instants);

}  // namespace hopbench
