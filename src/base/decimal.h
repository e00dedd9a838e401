// Decimal text to whole numbers, exactly. Nothing goes through floating point, so "0.1" is one tenth.
#pragma once

#include <cstdint>
#include <string_view>

namespace hopbench {

enum class DecimalFault : std::uint8_t {
  none,
  not_a_number,
  too_fine,   // not a whole number of the unit asked for
  too_large,  // does not fit into 63 bits
};

/// text * factor as a whole number. Text: digits, or digits "." digits, then, if `exponent` allows it, "e" or "E",
/// an optional sign and digits. No sign in front, no spaces, at least one digit on each side of a point.
/// `factor` is at least 1.
DecimalFault scale_decimal(std::string_view text, std::uint64_t factor, bool exponent, std::int64_t& result);

}  // namespace hopbench
