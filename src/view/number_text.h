// Numbers as people read them.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "base/counted.h"
#include "base/plain_text.h"
#include "base/time.h"

namespace hopbench {

/// "once", "7 times".
std::string times(std::uint64_t count);

/// A share of 0..1 in percent, without the sign: two digits that count, "0" and "100" only if it is just that.
std::string percent(double share);

/// A span in the unit that fits, three digits: "850 ns", "12.5 ms", "1.48 s". "-" for none.
std::string short_span(std::optional<Nanos> span);

/// A run's length in the unit that fits: "23.0 min", "80.0 d".
std::string long_span(Nanos span);
/// An instant of the run, to the second: 03:54:12, or 5 d 03:54:12.
std::string instant_text(Nanos at);

/// A span in milliseconds, without the unit, three digits that count: "0.85", "4.69", "404", "68,012". "-" for none.
std::string milliseconds(std::optional<Nanos> span);

/// As many as a terminal shows, if each takes one place.
std::size_t characters_in(std::string_view text);

/// harmless(), cut or filled up with spaces to `width` characters. What is cut ends in "~".
std::string fitted(std::string_view text, std::size_t width);

}  // namespace hopbench
