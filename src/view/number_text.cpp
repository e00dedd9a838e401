#include "view/number_text.h"

#include <fmt/format.h>

#include <algorithm>

namespace hopbench {
namespace {

struct Unit {
  double nanos;
  std::string_view name;
};

std::string in_unit(double nanos, const Unit& unit) {
  const double value = nanos / unit.nanos;
  return fmt::format("{:.{}f} {}", value, value < 9.995 ? 2 : value < 99.95 ? 1 : 0, unit.name);
}

bool continues(char c) { return (static_cast<unsigned char>(c) & 0xc0U) == 0x80U; }

}  // namespace

std::string times(std::uint64_t count) { return count == 1 ? "once" : grouped(count) + " times"; }

std::string percent(double share) {
  const double value = share * 100;
  if (value <= 0) return "0";
  if (value >= 100) return "100";
  // Near 100 it is the rest that counts: 99.9997 must not become 100.
  const double telling = std::min(value, 100 - value);
  if (value < 1e-7) return "<0.0000001";
  int digits = 0;
  for (double scaled = telling; scaled < 9.95 && digits < 8; scaled *= 10) ++digits;
  return fmt::format("{:.{}f}", value, digits);
}

std::string short_span(std::optional<Nanos> span) {
  if (!span) return "-";
  const auto nanos = static_cast<double>(*span);
  if (*span < microsecond) return fmt::format("{} ns", *span);
  if (nanos < 999.5e3) return in_unit(nanos, {1e3, "us"});
  if (nanos < 999.5e6) return in_unit(nanos, {1e6, "ms"});
  return in_unit(nanos, {1e9, "s"});
}

std::string long_span(Nanos span) {
  const double seconds = static_cast<double>(span) / 1e9;
  if (seconds < 120) return short_span(span);
  if (seconds < 120 * 60) return fmt::format("{:.1f} min", seconds / 60);
  if (seconds < 48 * 3600) return fmt::format("{:.1f} h", seconds / 3600);
  return fmt::format("{:.1f} d", seconds / 86400);
}

std::string instant_text(Nanos at) {
  if (at <= -second) return "-" + instant_text(-std::max(at, -never));
  const Nanos seconds = std::max<Nanos>(at, 0) / second;
  const std::string clock = fmt::format("{:02}:{:02}:{:02}", seconds % 86400 / 3600, seconds % 3600 / 60, seconds % 60);
  return seconds < 86400 ? clock : fmt::format("{} d {}", seconds / 86400, clock);
}

std::string milliseconds(std::optional<Nanos> span) {
  if (!span) return "-";
  const double value = static_cast<double>(*span) / 1e6;
  if (value >= 999.5) return grouped(static_cast<std::uint64_t>(value + 0.5));
  return fmt::format("{:.{}f}", value, value >= 99.95 ? 0 : value >= 9.995 ? 1 : value >= 0.995 ? 2 : 3);
}

std::size_t characters_in(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) { return !continues(c); }));
}

std::string fitted(std::string_view text, std::size_t width) {
  std::string out = harmless(text);
  std::size_t used = 0;
  std::size_t last = 0;  // where the character begins that must go if there is one too many
  for (std::size_t i = 0; i < out.size(); ++i) {
    if (continues(out[i])) continue;
    if (used == width) {
      out.resize(last);
      return out + "~";
    }
    last = i;
    ++used;
  }
  out.append(width - used, ' ');
  return out;
}

}  // namespace hopbench
