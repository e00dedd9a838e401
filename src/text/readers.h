// Fields of a scenario that hold text with a unit, read with their ranges. Each leaves `out` alone if the text does not
// have the field, or if what it has is wrong; the latter is told. Inner part of src/text.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "base/time.h"
#include "scenario/description.h"
#include "text/outline.h"

namespace hopbench {

// Bounds that keep sums of several within 63 bits, 44 means of an exponential span included.
inline constexpr Nanos longest_span = 86'400 * second * 1'000;  // 1000 days
inline constexpr Nanos latest_instant = longest_run;

enum class Zero : std::uint8_t { allowed, refused };

void read_span(const Spot& spot, std::string_view field, const std::string& text, Nanos& out, Zero zero = Zero::allowed,
               Nanos longest = longest_span);
/// The same for one element of a list; `spot` is the element's own.
void read_span_at(const Spot& spot, std::string_view field, const std::string& text, Nanos& out, Zero zero,
                  Nanos longest);
void read_probability(const Spot& spot, std::string_view field, const std::string& text, Ppq& out, bool below_one);
void read_clock_error(const Spot& spot, std::string_view field, const std::string& text, std::int64_t& out);
void read_voltage(const Spot& spot, std::string_view field, const std::string& text, std::int64_t& out);
/// Tells if `value` is not from `least` to `most`.
void check_range(const Spot& spot, std::string_view field, std::uint64_t value, std::uint64_t least,
                 std::uint64_t most);
/// Tells if something is given more than `most` times; then none of it should be read. Keeps time and memory small.
bool too_many(const Spot& spot, std::string_view field, int size, int most);
/// Tells if `name` is missing or no name. `what`: "kind", "fault", ...
bool check_name(const Spot& spot, const std::string& name, std::string_view what);

}  // namespace hopbench
