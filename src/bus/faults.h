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
/// Shapes beside the first: whether they can be told apart and agree on the fields that they share.
void check_shapes(const BusDescription& bus, Faults& faults);
/// The check that is part number `i`, and whether what it covers fills whole bytes. `bus` has one shape.
void check_check(const BusDescription& bus, std::size_t i, const std::string& path, Faults& faults);
void check_cover_bytes(const BusDescription& bus, std::size_t i, const std::string& path, Faults& faults);
/// A payload in blocks.
void check_blocks(const BusDescription& bus, const PartSpec& payload, const std::string& path, Faults& faults);

/// Index of the part so named; parts.size() if none.
[[nodiscard]] std::size_t part_named(const BusDescription& bus, std::string_view name);
/// The header field so named of the first shape; null if it has none.
[[nodiscard]] const FieldSpec* field_named(const BusDescription& bus, std::string_view name);
/// The same of any shape.
[[nodiscard]] const FieldSpec* field_anywhere(const BusDescription& bus, std::string_view name);
/// Path of the list of parts of a shape.
[[nodiscard]] std::string parts_path(std::size_t shape);

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
