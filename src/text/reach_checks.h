// Levels that nothing in the scenario ever reaches, and rooms that nothing fits into. Inner part of src/text.
#pragma once

#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "text/outline.h"
#include "text/plan_rehearsal.h"

namespace hopbench {

/// Warns of nodes that never have supply enough, cells that never come to where balancing starts, boards that are never
/// cool enough to bleed, and nodes that have room for nothing that is asked. `root`: the scenario's spot.
void check_reach(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain,
                 const Spot& root);

}  // namespace hopbench
