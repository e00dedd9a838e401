// Nodes that were set to a wrong address. Inner part of src/text.
#pragma once

#include "bus/description.h"
#include "scenario.pb.h"
#include "scenario/description.h"
#include "text/outline.h"

namespace hopbench {

/// Notes it at the nodes of `chain`, which must be there already, or tells why it cannot be. `bus` must have no faults.
void read_wrong_addresses(const text::Scenario& scenario, const Spot& root, const BusDescription& bus,
                          ChainDescription& chain);

}  // namespace hopbench
