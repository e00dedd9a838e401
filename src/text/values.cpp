#include "text/values.h"

#include <fmt/format.h>

#include <array>

#include "base/decimal.h"
#include "text/suggest.h"
#include "text/units.h"

namespace hopbench {
namespace {

constexpr std::uint64_t ppb_per_percent = 10'000'000;
constexpr std::int64_t most_clock_ppb = 200'000'000;
constexpr std::int64_t most_microvolts = 10'000'000;
constexpr std::size_t longest_name = 64;

bool is_letter_or_digit(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
}

}  // namespace

std::optional<Ppq> parse_probability(std::string_view text, std::string& why) {
  constexpr std::array<Unit, 2> units{{{"%", certain / 100}, {"", certain}}};
  std::int64_t parts = 0;
  const DecimalFault fault = with_unit(text, units, true, parts);
  if (fault == DecimalFault::not_a_number) {
    why = fmt::format(
        "{} is no probability: write a number from 0 to 1 or a percentage, for example \"1e-6\", \"0.02\" or \"2%\"",
        in_quotes(text));
  } else if (fault == DecimalFault::too_fine) {
    why = fmt::format("{} is finer than a probability can be: 1e-15 is the finest step", in_quotes(text));
  } else if (fault == DecimalFault::too_large || static_cast<Ppq>(parts) > certain) {
    why = fmt::format("{} is no probability: it is greater than 1", in_quotes(text));
  } else {
    return static_cast<Ppq>(parts);
  }
  return std::nullopt;
}

std::optional<std::int64_t> parse_clock_error(std::string_view text, std::string& why) {
  constexpr std::array<Unit, 3> units{{{"ppm", 1'000}, {"ppb", 1}, {"%", ppb_per_percent}}};
  const bool negative = text.starts_with('-');
  std::string_view number = text;
  if (negative || text.starts_with('+')) number.remove_prefix(1);
  std::int64_t ppb = 0;
  const DecimalFault fault = with_unit(number, units, false, ppb);
  if (fault == DecimalFault::none && ppb <= most_clock_ppb) return negative ? -ppb : ppb;
  if (fault == DecimalFault::not_a_number) {
    why =
        fmt::format("{} is no clock error: write a number and ppm, ppb or %, for example \"-150ppm\"", in_quotes(text));
  } else if (fault == DecimalFault::too_fine) {
    why = fmt::format("{} is no whole number of ppb", in_quotes(text));
  } else {
    why = fmt::format("{} is out of range: a clock error is -20% to 20%", in_quotes(text));
  }
  return std::nullopt;
}

std::optional<std::int64_t> parse_voltage(std::string_view text, std::string& why) {
  constexpr std::array<Unit, 3> units{{{"mV", 1'000}, {"uV", 1}, {"V", 1'000'000}}};
  std::int64_t microvolts = 0;
  const DecimalFault fault = with_unit(text, units, false, microvolts);
  if (fault == DecimalFault::none && microvolts <= most_microvolts) return microvolts;
  if (fault == DecimalFault::not_a_number) {
    why = fmt::format("{} is no voltage: write a number and V, mV or uV, for example \"3300mV\"", in_quotes(text));
  } else if (fault == DecimalFault::too_fine) {
    why = fmt::format("{} is no whole number of microvolts", in_quotes(text));
  } else {
    why = fmt::format("{} is out of range: voltages here are 0 to 10 V", in_quotes(text));
  }
  return std::nullopt;
}

bool parse_line_format(std::string_view text, LineCoding& line, std::string& why) {
  const auto fail = [&] {
    why = fmt::format(
        "{} is no character format: write data bits (5 to 8), parity (N, E or O) and stop bits (1, 1.5 or 2), "
        "for example \"8N1\"",
        in_quotes(text));
    return false;
  };
  if (text.size() < 3 || text[0] < '5' || text[0] > '8') return fail();
  LineCoding result = line;
  result.data_bits = static_cast<std::uint32_t>(text[0] - '0');
  switch (text[1]) {
    case 'N':
      result.parity = Parity::none;
      break;
    case 'E':
      result.parity = Parity::even;
      break;
    case 'O':
      result.parity = Parity::odd;
      break;
    default:
      return fail();
  }
  const std::string_view stop = text.substr(2);
  if (stop != "1" && stop != "1.5" && stop != "2") return fail();
  result.stop_half_bits = stop == "1" ? 2 : stop == "2" ? 4 : 3;
  line = result;
  return true;
}

bool is_name(std::string_view name) {
  if (name.empty() || name.size() > longest_name || !is_letter_or_digit(name.front())) return false;
  for (const char c : name) {
    if (!is_letter_or_digit(c) && c != '-' && c != '.') return false;
  }
  return name.find("..") == std::string_view::npos;
}

}  // namespace hopbench
