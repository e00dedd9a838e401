#include "base/duration.h"

#include <array>

#include "base/decimal.h"

namespace hopbench {
namespace {

struct Unit {
  std::string_view name;
  Nanos span;
};

constexpr std::array<Unit, 7> units{{
    {"d", 86'400 * second},
    {"h", 3'600 * second},
    {"min", 60 * second},
    {"s", second},
    {"ms", millisecond},
    {"us", microsecond},
    {"ns", 1},
}};

constexpr std::string_view right_form = "write a number and a unit of d, h, min, s, ms, us, ns, for example \"250ms\"";

}  // namespace

std::optional<Nanos> parse_duration(std::string_view text, std::string* why) {
  const auto fail = [&](std::string_view what) {
    if (why != nullptr) {
      *why = "\"" + std::string{text.substr(0, 40)} + "\" is no duration: " + std::string{what};
    }
    return std::optional<Nanos>{};
  };
  const std::size_t number_end = std::min(text.find_first_not_of("0123456789."), text.size());
  const std::string_view number = text.substr(0, number_end);
  const std::string_view unit_name = text.substr(number_end);
  if (number.empty()) return fail(right_form);
  if (unit_name.empty()) return fail("the unit is missing; " + std::string{right_form});
  for (const Unit& unit : units) {
    if (unit.name != unit_name) continue;
    Nanos span = 0;
    switch (scale_decimal(number, static_cast<std::uint64_t>(unit.span), false, span)) {
      case DecimalFault::none:
        if (span < never) return span;
        return fail("it is longer than 292 years");
      case DecimalFault::not_a_number:
        return fail(right_form);
      case DecimalFault::too_fine:
        return fail("it is no whole number of nanoseconds");
      case DecimalFault::too_large:
        return fail("it is longer than 292 years");
    }
  }
  return fail(right_form);
}

std::string format_duration(Nanos span) {
  if (span <= 0) return "0s";
  for (const Unit& unit : units) {
    const bool decimal = unit.span <= second;
    if (span < unit.span || (!decimal && span % unit.span != 0)) continue;
    std::string text = std::to_string(span / unit.span);
    if (Nanos rest = span % unit.span; rest != 0) {
      text += '.';
      for (Nanos digit = unit.span / 10; rest != 0; digit /= 10) {
        text += static_cast<char>('0' + rest / digit);
        rest %= digit;
      }
    }
    return text.append(unit.name);
  }
  return std::to_string(span) + "ns";
}

}  // namespace hopbench
