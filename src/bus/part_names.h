// Names of a frame's parts, as a check's `covers` uses them.
#pragma once

#include <string>
#include <string_view>

#include "bus/description.h"

namespace hopbench {

/// Name by which the payload is covered; no field or check may be called so.
inline constexpr std::string_view payload_name = "payload";

[[nodiscard]] inline std::string_view name_of_part(const PartSpec& part) {
  if (part.payload) return payload_name;
  if (part.field) return part.field->name;
  if (part.check) return part.check->name;
  return {};
}

}  // namespace hopbench
