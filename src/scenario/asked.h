// Everything that a scenario's controller asks.
#pragma once

#include <vector>

#include "scenario/description.h"

namespace hopbench {

/// The plan; behind it the offers of an address to nodes that enrol; behind them the orders to bleed, if it balances.
std::vector<PlanEntry> asked_entries(const ChainDescription& chain);

/// What comes before the node's name in the names of the latter two.
inline constexpr const char* offer_name = "enrol/";
inline constexpr const char* order_name = "balance/";

}  // namespace hopbench
