// Names for values that this code does not know. Inner part of the names of symptoms, outcomes, causes and vantages.
#pragma once

#include <cstdint>
#include <string_view>

namespace hopbench {

/// "unknown (57)". Of a value of a later version; all these types are a byte wide.
[[nodiscard]] std::string_view unknown_name(std::uint8_t value);

}  // namespace hopbench
