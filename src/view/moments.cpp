#include "view/moments.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "picture/round_spans.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

/// A number from the front of a text; none if there is none.
std::optional<double> take_number(std::string_view& text) {
  std::size_t size = 0;
  while (size < text.size() && ((text[size] >= '0' && text[size] <= '9') || text[size] == '.')) ++size;
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + size, value);
  if (size == 0 || error != std::errc() || end != text.data() + size) return std::nullopt;
  text.remove_prefix(size);
  return value;
}

void skip_spaces(std::string_view& text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
}

std::optional<Nanos> nanos_of(double value, Nanos unit) {
  const double nanos = value * static_cast<double>(unit);
  if (!(nanos <= static_cast<double>(farthest_instant))) return std::nullopt;
  return static_cast<Nanos>(std::llround(nanos));
}

/// "13:00", "13:00:05.250".
std::optional<Nanos> clock_of(double hours, std::string_view text) {
  Nanos sum = 0;
  double value = hours;
  for (const Nanos unit : {one_hour, one_minute, second}) {
    const auto part = nanos_of(value, unit);
    if (!part || *part > one_day) return std::nullopt;
    sum += *part;
    if (text.empty()) return sum;
    if (unit == second || text.front() != ':') return std::nullopt;
    text.remove_prefix(1);
    const auto next = take_number(text);
    if (!next || *next >= 60) return std::nullopt;
    value = *next;
  }
  return std::nullopt;
}

}  // namespace

std::string whole_time(Nanos at, Nanos span) {
  if (at < 0) return "-" + whole_time(-std::max(at, -never), span);
  return span < second ? fmt::format("{}.{:03}", instant_text(at), at / millisecond % 1000) : instant_text(at);
}

std::string stretch_text(Nanos from, Nanos to, Nanos span) {
  const bool same_day = from >= 0 && from / one_day == to / one_day;
  return fmt::format("{} to {}", whole_time(from, span), whole_time(same_day ? to % one_day : to, span));
}

std::string round_span_text(Nanos span) {
  struct Unit {
    Nanos nanos;
    const char* name;
  };
  for (const auto& unit : {Unit{one_day, "d"}, {one_hour, "h"}, {one_minute, "min"}, {second, "s"}}) {
    if (span % unit.nanos == 0) return fmt::format("{} {}", span / unit.nanos, unit.name);
  }
  return fmt::format("{} ms", span / millisecond);
}

std::string axis_text(Nanos at, Nanos step) {
  if (at < 0) return "-" + axis_text(-std::max(at, -never), step);
  const Nanos seconds = at / second;
  if (at % one_day == 0 && (step >= one_day || at > 0)) return fmt::format("{}d", at / one_day);
  if (step >= one_minute) return fmt::format("{:02}:{:02}", seconds / 3600 % 24, seconds / 60 % 60);
  if (step >= second) return fmt::format("{:02}:{:02}:{:02}", seconds / 3600 % 24, seconds / 60 % 60, seconds % 60);
  return fmt::format("{:02}.{:03}", seconds % 60, at / millisecond % 1000);
}

std::optional<Nanos> parse_moment(std::string_view text, Nanos near) {
  skip_spaces(text);
  Nanos base = slot_of(near, one_day) * one_day;
  auto number = take_number(text);
  if (!number) return std::nullopt;
  skip_spaces(text);
  if (text.starts_with("d")) {
    const auto days = nanos_of(*number, one_day);
    text.remove_prefix(1);
    skip_spaces(text);
    if (!days || text.empty()) return days;
    base = *days;
    number = take_number(text);
    if (!number) return std::nullopt;
  } else {
    struct Unit {
      std::string_view name;
      Nanos nanos;
    };
    for (const auto& unit : {Unit{"h", one_hour}, {"min", one_minute}, {"s", second}, {"ms", millisecond}}) {
      if (text == unit.name) return nanos_of(*number, unit.nanos);
    }
    if (text.empty()) return std::nullopt;
  }
  const auto clock = clock_of(*number, text);
  if (!clock) return std::nullopt;
  return base + *clock;
}

}  // namespace hopbench
