// Doing without a mechanism: a scenario as it would be if something that makes replies go missing were not there. All
// else stays as it is, and so does its luck, which hangs on names only.
#pragma once

#include <span>
#include <vector>

#include "scenario/description.h"
#include "seen/mechanism.h"

namespace hopbench {

/// The chain without the mechanism. What only shows together with it (a FIFO that only masked sections can overrun, a
/// watchdog that only a long duty can trip) stays stated and does nothing.
ChainDescription without(ChainDescription chain, Mechanism mechanism);
ChainDescription without(ChainDescription chain, std::span<const Mechanism> mechanisms);

/// The chain with these only. Mechanism::balancing is kept as well: it is no mechanism by itself, and several hang on
/// it.
ChainDescription with_only(ChainDescription chain, std::span<const Mechanism> kept);

/// Whether doing without it would change what the chain states.
bool has_mechanism(const ChainDescription& chain, Mechanism mechanism);
/// Those that it has, in order.
std::vector<Mechanism> mechanisms_of(const ChainDescription& chain);

}  // namespace hopbench
