// Values that stand as text in scenarios and bus descriptions, taken exactly: nothing goes through floating point.
// Each function returns nothing for text that is wrong, and then `why` says what is wrong and what would be right.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "bus/description.h"
#include "scenario/description.h"

namespace hopbench {

/// "1e-6", "0.02", "2%", "1": parts of 1e15, 0 to 1. A probability finer than 1e-15 is refused, not rounded.
std::optional<Ppq> parse_probability(std::string_view text, std::string& why);

/// "150ppm", "-0.5%", "20ppb": parts of 1e9, -20 % to 20 %.
std::optional<std::int64_t> parse_clock_error(std::string_view text, std::string& why);

/// "3.3V", "3300mV", "5uV": microvolts, 0 to 10 V.
std::optional<std::int64_t> parse_voltage(std::string_view text, std::string& why);

/// "8N1", "7E2", "8O1.5": data bits, parity and stop bits into `line`, which keeps its baud rate.
bool parse_line_format(std::string_view text, LineCoding& line, std::string& why);

/// Whether `name` can name something: letters, digits, "_", "-" and ".", beginning with a letter, digit or "_", at most
/// 64 characters, no "..".
bool is_name(std::string_view name);
inline constexpr std::string_view name_rule =
    "a name has letters, digits, \"_\", \"-\" and \".\" (not \"..\"), begins with a letter, digit or \"_\", and has at "
    "most 64 of them";

}  // namespace hopbench
