// How quick all stations of a chain are in each case.
#pragma once

#include "budget/by_case.h"
#include "scenario/frame_walk.h"

namespace hopbench {

/// False if nothing bounds how long some processor is busy; it then counts as idle.
bool speeds_of(const Protocol& protocol, const ChainDescription& chain, BudgetCase which, Speeds& speeds);

/// A node may bleed all its cells at once.
std::uint32_t most_bled(const ChainDescription& chain, std::size_t node);

}  // namespace hopbench
