// Waiting that is too short for what it waits for. Inner part of src/text.
#pragma once

#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "text/outline.h"
#include "text/plan_rehearsal.h"

namespace hopbench {

/// Tells of nodes whose answers can never come in time, or whose values can never be fresh. `root`: the scenario's
/// spot.
void check_trips(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain,
                 const Spot& root);

}  // namespace hopbench
