// Somebody else in the controller's seat of a study's runs: a real program, say, which a study knows nothing of.
#pragma once

#include <cstdint>
#include <functional>

#include "base/time.h"
#include "bus/protocol.h"
#include "scenario/description.h"
#include "seen/observation.h"

namespace hopbench {

/// Runs a chain for `span`, from where its clock begins, and tells `sink`. Asks `stop` now and then. Returns false if
/// the run did not go to its end; whoever made it knows why. May be called from several threads at once. Exceptions of
/// the sink come through. Empty: the scenario's own controller sits there.
using InSeat = std::function<bool(const Protocol& protocol, const ChainDescription& chain, std::uint64_t seed,
                                  Nanos span, const std::function<bool()>& stop, Sink& sink)>;

}  // namespace hopbench
