// Which mechanisms of a scenario come out at a real port, where its chain is simulated and the controller is real.
#pragma once

#include <vector>

#include "scenario/description.h"
#include "seen/mechanism.h"

namespace hopbench {

/// Whether what the mechanism does can change what such a controller hears, or when.
bool acts_at_real_port(Mechanism mechanism);

/// Those of a chain that do, in order.
std::vector<Mechanism> acting_at_real_port(const ChainDescription& chain);

}  // namespace hopbench
