// Scenarios drawn from a number: every mechanism now and then, in every combination that makes sense.
#pragma once

#include <cstdint>

#include "bus/description.h"
#include "scenario/description.h"

namespace hopbench {

struct RandomScenario {
  BusDescription bus;
  ChainDescription chain;
};

/// The same number gives the same scenario.
RandomScenario random_scenario(std::uint64_t number);

/// Gives one kind of the scenario a design mistake that its bus can have, drawn by the number. Apart from the rest, so
/// that the scenarios themselves stay as they are.
void give_flaw(RandomScenario& scenario, std::uint64_t number);

}  // namespace hopbench
