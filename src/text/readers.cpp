#include "text/readers.h"

#include <fmt/format.h>

#include "base/duration.h"
#include "text/suggest.h"
#include "text/values.h"

namespace hopbench {

void read_span(const Spot& spot, std::string_view field, const std::string& text, Nanos& out, Zero zero,
               Nanos longest) {
  if (spot.has(field)) read_span_at(spot.in(field), field, text, out, zero, longest);
}

void read_span_at(const Spot& spot, std::string_view field, const std::string& text, Nanos& out, Zero zero,
                  Nanos longest) {
  std::string why;
  const auto span = parse_duration(text, &why);
  if (!span) {
    spot.say(fmt::format("{}: {}", field, why));
  } else if (*span == 0 && zero == Zero::refused) {
    spot.say(fmt::format("{} must be longer than 0", field));
  } else if (*span > longest) {
    spot.say(fmt::format("{} can be {} at most", field, format_duration(longest)));
  } else {
    out = *span;
  }
}

void read_probability(const Spot& spot, std::string_view field, const std::string& text, Ppq& out, bool below_one) {
  if (!spot.has(field)) return;
  std::string why;
  const auto parts = parse_probability(text, why);
  if (!parts) {
    spot.in(field).say(fmt::format("{}: {}", field, why));
  } else if (below_one && *parts == certain) {
    spot.in(field).say(fmt::format("{} must be below 1", field));
  } else {
    out = *parts;
  }
}

void read_clock_error(const Spot& spot, std::string_view field, const std::string& text, std::int64_t& out) {
  if (!spot.has(field)) return;
  std::string why;
  if (const auto ppb = parse_clock_error(text, why)) {
    out = *ppb;
  } else {
    spot.in(field).say(fmt::format("{}: {}", field, why));
  }
}

void read_voltage(const Spot& spot, std::string_view field, const std::string& text, std::int64_t& out) {
  if (!spot.has(field)) return;
  std::string why;
  if (const auto microvolts = parse_voltage(text, why)) {
    out = *microvolts;
  } else {
    spot.in(field).say(fmt::format("{}: {}", field, why));
  }
}

void check_range(const Spot& spot, std::string_view field, std::uint64_t value, std::uint64_t least,
                 std::uint64_t most) {
  if (value >= least && value <= most) return;
  spot.in(field).say(fmt::format("{} must be {} to {}, not {}", field, least, most, value));
}

bool too_many(const Spot& spot, std::string_view field, int size, int most) {
  if (size <= most) return false;
  spot.in(field, most).say(fmt::format("{} can be given {} times at most", field, most));
  return true;
}

bool check_name(const Spot& spot, const std::string& name, std::string_view what) {
  if (name.empty()) {
    spot.in("name").say(fmt::format("this {} needs a name", what));
    return false;
  }
  if (is_name(name)) return true;
  spot.in("name").say(fmt::format("{} is no name: {}", in_quotes(name), name_rule));
  return false;
}

}  // namespace hopbench
