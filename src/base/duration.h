// Spans of time as people write them: "80d", "36h", "250ms", "200us", "1.3824s".
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "base/time.h"

namespace hopbench {

/// Reads a span: a whole number or a decimal fraction, then at once one unit of d, h, min, s, ms, us, ns. No sign, no
/// exponent, no spaces, one unit only. Exact: a span that is no whole number of nanoseconds is not rounded but
/// refused, and so is one of 2^63 - 1 ns (292 years) or more. Without a result, `why` (if given) says what is wrong
/// and what would be right.
std::optional<Nanos> parse_duration(std::string_view text, std::string* why = nullptr);

/// Writes a span that is not negative so that parse_duration gives the same one back. Whole days, hours and minutes are
/// written as such; all else in the largest of s, ms, us, ns that leaves at least 1 before the point.
std::string format_duration(Nanos span);

}  // namespace hopbench
