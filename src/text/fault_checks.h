// Injected faults that never strike. Inner part of src/text.
#pragma once

#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "text/outline.h"
#include "text/plan_rehearsal.h"

namespace hopbench {

/// Tells of faults that no frame of any controller could meet, of those that none of this plan does, and of times that
/// lie outside the run. `root`: the scenario's spot.
void check_strikes(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain,
                   const Spot& root);

}  // namespace hopbench
