// Numbers as people read them.
#pragma once

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

/// harmless(), cut or filled up with spaces to `width` characters. What is cut ends in "~".
std::string fitted(std::string_view text, std::size_t width);

}  // namespace hopbench
