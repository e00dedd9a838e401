// What goes wrong on the wire: noise, bursts, contacts, cables, clocks, isolators.
#include <fmt/format.h>

#include <array>
#include <cmath>

#include "plant.h"

namespace hopbench::rates {
namespace {

/// Conditions of one hop.
Planted on_hop(const Ground& ground, std::size_t link, std::string conditions) {
  ground.draft.hops.push_back({link, std::move(conditions)});
  return {{link}, {}, false};
}

std::optional<Planted> noise_on_hop(const Ground& g) {
  const std::size_t link = g.some_link();
  if (g.habits.frames[link] == 0) return std::nullopt;
  return on_hop(g, link,
                fmt::format("bit_error: {}", share_text(g.share / (g.habits.frames[link] * g.habits.bits[link]))));
}

std::optional<Planted> noise_on_every_hop(const Ground& g) {
  double bits = 0;
  for (std::size_t i = 0; i < g.habits.frames.size(); ++i) bits += g.habits.frames[i] * g.habits.bits[i];
  g.draft.every_hop += fmt::format("bit_error: {} ", share_text(g.share / bits));
  return Planted{};
}

std::optional<Planted> bursts(const Ground& g) {
  const std::size_t link = g.some_link();
  const double bad = log_between(g.dice, 5e6, 300e6);
  const double rate = log_between(g.dice, 0.01, 0.3);
  if (g.habits.frames[link] == 0) return std::nullopt;
  return on_hop(g, link,
                fmt::format("burst {{ mean_good: {} mean_bad: {} bad_bit_error: {} }}", span_text(g.between(link, bad)),
                            span_text(bad), share_text(rate)));
}

Planted contact(const Ground& g, bool low) {
  const std::size_t link = g.some_link();
  const double open = log_between(g.dice, 2e6, 700e6);
  return on_hop(g, link,
                fmt::format("contact {{ mean_between: {} mean_open: {} {}}}", span_text(g.between(link, open)),
                            span_text(open), low ? "reads_low: true " : ""));
}
std::optional<Planted> contact_idle(const Ground& g) { return contact(g, false); }
std::optional<Planted> contact_low(const Ground& g) { return contact(g, true); }

/// One to four times, of which none is shorter than two seconds.
Planted cable(const Ground& g, bool low) {
  const std::size_t link = g.some_link();
  const std::uint64_t times = 1 + g.dice.up_to(3);
  const double each =
      std::max(2.5e9, g.share * g.exchanges * std::max(g.period, g.time_out) / static_cast<double>(times));
  const double stretch = 0.98 * g.run() / static_cast<double>(times);
  std::string opens;
  for (std::uint64_t i = 0; i < times; ++i) {
    const double room = std::max(1.0, stretch - each);
    const double from = static_cast<double>(i) * stretch + 1e9 + room * log_between(g.dice, 0.05, 0.95);
    opens += fmt::format("open {{ from: {} to: {} {}}} ", span_text(from), span_text(from + std::min(each, stretch)),
                         low ? "reads_low: true " : "");
  }
  return on_hop(g, link, opens);
}
std::optional<Planted> cable_idle(const Ground& g) { return cable(g, false); }
std::optional<Planted> cable_low(const Ground& g) { return cable(g, true); }

/// A clock at the edge of what receivers bear, a little further for more.
std::optional<Planted> clock_error(const Ground& g) {
  const double sign = chance(g.dice, 50) ? 1 : -1;
  const double error = log_between(g.dice, 0.033, 0.055) + 0.003 * std::log2(g.factor);
  g.draft.nodes[g.node].clock = fmt::format("clock {{ error: {} }} ", ppb_text(sign * error));
  return Planted{{}, {g.node}, false};
}

/// A divisor that does not meet the baud rate: the nearest is a few hundredths off.
std::optional<Planted> clock_divisor(const Ground& g) {
  const std::uint64_t divisor = 8 + g.dice.up_to(5);
  const double sign = chance(g.dice, 50) ? 1 : -1;
  const double off = log_between(g.dice, 0.033, 0.05) + 0.003 * std::log2(g.factor);
  const auto hertz = std::llround(16.0 * g.draft.baud * static_cast<double>(divisor) * (1 + sign * off));
  g.draft.nodes[g.node].clock = fmt::format("clock {{ oscillator_hz: {} divisor: {} }} ", hertz, divisor);
  return Planted{{}, {g.node}, false};
}

/// Many nodes a little off: some pairs of neighbours are too far apart.
std::optional<Planted> clock_spread(const Ground& g) {
  const double spread = log_between(g.dice, 0.021, 0.03) + 0.001 * std::log2(g.factor);
  for (std::size_t i = 0; i < g.draft.nodes.size(); ++i) {
    g.draft.nodes[i].clock = fmt::format("clock {{ spread: {} }} ", ppb_text(spread));
  }
  return Planted{};
}

std::optional<Planted> clock_warm(const Ground& g) {
  const double sign = chance(g.dice, 50) ? 1 : -1;
  const double error = log_between(g.dice, 0.022, 0.036);
  const double per_kelvin = log_between(g.dice, 300e-6, 900e-6) * std::pow(g.factor, 0.2);
  g.draft.nodes[g.node].clock = fmt::format("clock {{ error: {} per_kelvin: {} step: \"50ppm\" }} ",
                                            ppb_text(sign * error), ppb_text(sign * per_kelvin));
  return Planted{{}, {g.node}, false};
}

std::optional<Planted> clock_supply(const Ground& g) {
  const double sign = chance(g.dice, 50) ? 1 : -1;
  const double cells = g.draft.kind_of(g.node).cells;
  const double error = log_between(g.dice, 0.025, 0.038);
  const double per_volt = log_between(g.dice, 0.03, 0.12) / cells * std::pow(g.factor, 0.3);
  g.draft.nodes[g.node].clock =
      fmt::format("clock {{ error: {} per_volt: {} at_volts: \"{}mV\" step: \"50ppm\" }} ", ppb_text(sign * error),
                  ppb_text(sign * per_volt), std::llround(3300 * cells));
  return Planted{{}, {g.node}, false};
}

/// Half a bit is what a receiver bears, over as many hops as edges are passed on.
std::optional<Planted> pulse_width(const Ground& g) {
  const double bit = 1e9 / g.draft.baud;
  const double hops = static_cast<double>(g.draft.nodes.size());
  const double reach = log_between(g.dice, 0.5, 1.0);
  const double off = 0.5 * bit / (hops * reach) * std::pow(g.factor, 0.1);
  g.draft.every_hop += fmt::format("{}: {} ", chance(g.dice, 50) ? "lows_longer" : "lows_shorter", span_text(off));
  return Planted{};
}

constexpr Wanted battery{.battery = true};
constexpr Wanted balancing{.balancing = true};
constexpr Wanted electrical{.electrical = true};

constexpr std::array wire{
    Plant{"noise on a hop", Mechanism::bit_noise, {}, noise_on_hop},
    Plant{"noise everywhere", Mechanism::bit_noise, {}, noise_on_every_hop},
    Plant{"bursts", Mechanism::bursts, {}, bursts},
    Plant{"contact", Mechanism::contact, {}, contact_idle},
    Plant{"contact, low", Mechanism::contact, {}, contact_low},
    Plant{"cable", Mechanism::cable, {}, cable_idle},
    Plant{"cable, low", Mechanism::cable, {}, cable_low},
    Plant{"clock error", Mechanism::clock, {}, clock_error, 60},
    Plant{"clock divisor", Mechanism::clock, {}, clock_divisor, 60},
    Plant{"clock spread", Mechanism::clock, {}, clock_spread, 60},
    Plant{"clock, warm", Mechanism::clock, balancing, clock_warm, 60},
    Plant{"clock, supply", Mechanism::clock, battery, clock_supply, 60},
    Plant{"pulse width", Mechanism::pulse_width, electrical, pulse_width, 60},
};

}  // namespace

std::span<const Plant> wire_plants() { return wire; }

}  // namespace hopbench::rates
