// A kind's design mistake from a scenario's message. Inner part of src/text.
#pragma once

#include "bus/description.h"
#include "scenario.pb.h"
#include "scenario/description.h"
#include "text/outline.h"

namespace hopbench {

/// `kind`: all else of it has been read. `bus` may be null where it could not be loaded; then nothing is held against
/// it. A mistake that cannot be made on this bus, or by this kind, is told.
FlawSpec flaw_from(const text::Flaw& flaw, const Spot& spot, const KindSpec& kind, const BusDescription* bus);

}  // namespace hopbench
