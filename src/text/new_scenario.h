// A first scenario, and a first bus description, written for somebody who has none: with comments, and so that they
// run.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/time.h"
#include "bus/description.h"

namespace hopbench {

/// So many nodes with so many cells each, one after the other.
struct NewNodes {
  std::uint32_t count = 1;
  std::uint32_t cells = 1;
  friend bool operator==(const NewNodes&, const NewNodes&) = default;
};

/// "34x1,2x12": 34 nodes of one cell, then two of twelve. None, and why, for anything else, for more than 250 nodes,
/// and for a node of more than 16 cells.
std::optional<std::vector<NewNodes>> parse_new_nodes(std::string_view text, std::string& why);

struct NewScenario {
  std::string name;
  std::vector<NewNodes> nodes;
  bool line = false;  // else a ring
  std::string bus;    // as the scenario names it
  std::optional<std::uint32_t> baud;
  bool charging = false;  // with a battery that is charged once a day, and cells that balance
  Nanos time_out = 0;
};

/// The scenario's text. Its plan asks for the voltages of all cells, as far as a topic of the bus tells them. Empty,
/// and why, if nothing on the bus can be asked without knowing more about it.
std::string new_scenario_text(const NewScenario& wish, const BusDescription& bus, std::string& why);

/// A bus description of this name with comments that say what to change: sized frames with a CRC.
std::string new_bus_text(const std::string& name, std::uint32_t baud);

}  // namespace hopbench
