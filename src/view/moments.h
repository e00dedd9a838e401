// Instants and stretches of a run as text, and instants read back from what a person types.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "base/time.h"

namespace hopbench {

/// An instant with its day, to the millisecond where `span` is shorter than a second.
std::string whole_time(Nanos at, Nanos span);
/// From one instant to another; the day is not said twice.
std::string stretch_text(Nanos from, Nanos to, Nanos span);
/// The length of a column: "6 h", "10 min", "50 ms".
std::string round_span_text(Nanos span);
/// A label on a time axis whose labels are `step` apart: "2d", "13:00", "13:00:05", "05.250".
std::string axis_text(Nanos at, Nanos step);

/// "2d 13:00", "2 d 13:00:05.250", "13:00" (on the day of `near`), "1.5h" or "90s" from the start. None if it is none
/// of these.
std::optional<Nanos> parse_moment(std::string_view text, Nanos near);

}  // namespace hopbench
