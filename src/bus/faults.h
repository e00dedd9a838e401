// Where a description is wrong: collected part by part.
// Inner part of Protocol; everybody else goes through Protocol::faults_of.
#pragma once

#include <algorithm>
#include <string>
#include <string_view>
#include <vector>

#include "bus/frame_plan.h"
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
/// Names of the header fields of all shapes that a condition holds for.
template <class Condition>
[[nodiscard]] std::vector<std::string> header_fields(const BusDescription& bus, Condition&& condition) {
  std::vector<std::string> names;
  for (std::size_t shape = 0; shape <= bus.shapes.size(); ++shape) {
    for (const PartSpec& part : parts_of(bus, shape)) {
      if (part.field && !part.field->name.empty() && condition(*part.field) &&
          std::find(names.begin(), names.end(), part.field->name) == names.end())
        names.push_back(part.field->name);
    }
  }
  return names;
}
/// Path of the list of parts of a shape.
[[nodiscard]] std::string parts_path(std::size_t shape);

/// Roles, by name and by what they need.
void check_roles(const BusDescription& bus, Faults& faults);
/// Topics, their layouts, registers.
void check_topics(const BusDescription& bus, Faults& faults);
/// Names of the plain fields of a layout before item `end`.
[[nodiscard]] std::vector<std::string> plain_names(const Layout& layout, std::size_t end = ~std::size_t{0});
/// One payload layout. `ask`: the layout that copied fields refer to; null where nothing can be copied from.
void check_layout(const Layout& layout, const std::string& path, const Layout* ask, bool groups_allowed,
                  Faults& faults);

[[nodiscard]] inline std::string at(std::string_view list, std::size_t index) {
  return std::string(list) + "[" + std::to_string(index) + "]";
}
/// "; known are a, b", or "; there is none": the names that would have been right.
[[nodiscard]] std::string known_names(const std::vector<std::string>& names);
[[nodiscard]] inline std::string quoted(std::string_view name) { return "\"" + std::string(name) + "\""; }

}  // namespace hopbench
