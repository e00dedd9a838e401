// Bus descriptions and frames drawn at random, for properties that must hold on every bus.
#pragma once

#include <rapidcheck.h>

#include <cstdint>
#include <vector>

#include "bus/description.h"
#include "bus/frame.h"
#include "bus/protocol.h"

namespace hopbench::testing {

/// A whole number in low..high, drawn inside a RapidCheck property (and shrunk towards low).
[[nodiscard]] std::uint64_t drawn(std::uint64_t low, std::uint64_t high);

/// A description without faults. Any framing, header fields of any width, order and digits, checks of all kinds.
[[nodiscard]] BusDescription random_bus();
/// The same with this framing.
[[nodiscard]] BusDescription random_bus(FramingKind kind);

/// A frame that the bus can carry as it is. For markers without text, one whose content contains none of the markers'
/// bytes.
[[nodiscard]] Frame random_frame(const Protocol& protocol, std::size_t longest_payload = 24);
[[nodiscard]] std::vector<std::uint8_t> random_bytes(std::size_t count);

}  // namespace hopbench::testing
