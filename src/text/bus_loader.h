// From the Protobuf message of a bus description to plain structs. Inner part of src/text; others use text/bus.h.
#pragma once

#include "bus.pb.h"
#include "bus/description.h"
#include "text/outline.h"

namespace hopbench {

/// Everything that `bus` says. What is wrong is told through `spot`.
BusDescription bus_from(const text::Bus& bus, const Spot& spot);

/// Asks the bus engine for the faults of a whole description and tells them at the places in the text that they are
/// about.
void tell_bus_faults(const BusDescription& bus, const Spot& spot);

/// The place in the text that a dotted path of struct members ("parts[3].field.bits") speaks of, as near as there is
/// one.
Spot spot_of_part(const Spot& root, std::string_view path);

}  // namespace hopbench
