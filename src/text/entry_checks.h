// What the controller asks and cannot get. Inner part of src/text.
#pragma once

#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "text/outline.h"
#include "text/plan_rehearsal.h"

namespace hopbench {

/// Tells of exchanges that cannot end well, and of values that cannot be told; one line for each poll and reason.
/// `passes_told`: frames that run out of passes have been told of.
void check_exchanges(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain,
                     bool passes_told);
/// Tells of asks that are answered and do nothing: reads to everyone, orders to bleed what cannot be bled, limits the
/// wrong way round.
void check_orders(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain);
/// Tells of nodes that are asked and that nobody gives an address. `root`: the scenario's spot.
void check_offers(const ChainDescription& chain, const Spot& root);

}  // namespace hopbench
