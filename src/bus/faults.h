// Where a description is wrong: collected part by part.
// Inner part of Protocol; everybody else goes through Protocol::faults_of.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "bus/protocol.h"

namespace hopbench {

using Faults = std::vector<Protocol::Fault>;

/// What one field may be, wherever it stands.
void check_field(const FieldSpec& field, const std::string& path, Faults& faults);
/// Line coding, framing, parts, checks and forwarding.
void check_frame(const BusDescription& bus, Faults& faults);
/// Roles, by name and by what they need.
void check_roles(const BusDescription& bus, Faults& faults);
/// Topics, their layouts, registers.
void check_topics(const BusDescription& bus, Faults& faults);
/// One payload layout. `ask`: the layout that copied fields refer to; null where nothing can be copied from.
void check_layout(const Layout& layout, const std::string& path, const Layout* ask, bool groups_allowed,
                  Faults& faults);

[[nodiscard]] inline std::string at(std::string_view list, std::size_t index) {
  return std::string(list) + "[" + std::to_string(index) + "]";
}
[[nodiscard]] inline std::string quoted(std::string_view name) { return "\"" + std::string(name) + "\""; }

}  // namespace hopbench
