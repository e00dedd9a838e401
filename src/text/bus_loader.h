// From the Protobuf message of a bus description to plain structs. Inner part of src/text; others use text/bus.h.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "bus.pb.h"
#include "bus/description.h"
#include "text/outline.h"

namespace hopbench {

/// Everything that `bus` says. What is wrong is told through `spot`.
BusDescription bus_from(const text::Bus& bus, const Spot& spot);

/// What a description must be.
enum class Demand : std::uint8_t {
  sound,  // nothing in it contradicts itself: enough for what has been run already
  works,  // and what it says can come about
};

/// Asks the bus engine for what is wrong with a whole description and tells it at the places in the text that it is
/// about.
void tell_bus_faults(const BusDescription& bus, const Spot& spot, Demand demand);

std::optional<BusDescription> load_bus(const TextFile& file, Demand demand, std::vector<Problem>& problems);

/// The place in the text that a dotted path of struct members ("parts[3].field.bits") speaks of, as near as there is
/// one.
Spot spot_of_part(const Spot& root, std::string_view path);

}  // namespace hopbench
