// Scenarios as a person writes them, drawn from a number: every part of the format now and then. All figures are
// invented; each is a good one for load_scenario() with the buses that come with hopbench.
#pragma once

#include <cstdint>
#include <string>

namespace hopbench {

/// The same number gives the same text. It runs for some seconds and asks "cells" and "health" of its nodes.
std::string scenario_text(std::uint64_t number);

}  // namespace hopbench
