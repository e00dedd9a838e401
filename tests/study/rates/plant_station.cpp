// What goes wrong in stations: processors, measuring, room, sleep, the controller.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "plant.h"

namespace hopbench::rates {
namespace {

Planted at_node(const Ground& g) { return {{}, {g.node}, false}; }

/// This node or the next one with several cells; this one if there is none.
std::size_t multi_node(const Ground& g) {
  const std::size_t nodes = g.draft.nodes.size();
  for (std::size_t i = 0; i < nodes; ++i) {
    if (g.draft.kind_of((g.node + i) % nodes).cells > 1) return (g.node + i) % nodes;
  }
  return g.node;
}

/// ns from start to start of a duty, so that each of them takes at most half.
double every(double wanted, double longest) { return std::max(wanted, 2.2 * longest + 2e6); }

std::string duty(double from_to, double takes, double up_to, double jitter, bool masks) {
  return fmt::format("duty {{ name: \"store\" every: {} takes: {} takes_up_to: {} jitter: {} {}}}", span_text(from_to),
                     span_text(takes), span_text(up_to), span_text(jitter), masks ? "masks: true " : "");
}

std::optional<Planted> busy_masks(const Ground& g) {
  const std::uint64_t fifo = g.dice.of<std::uint64_t>({1, 2, 4, 8});
  const double character = 10e9 / g.draft.baud;
  const double takes = (static_cast<double>(fifo) + 1) * character * log_between(g.dice, 1.5, 8);
  const double between = every(g.between(Draft::link_into(g.node), takes), 1.5 * takes);
  g.draft.own_kind(g.node).fields["processor"] = fmt::format(
      " {{ fifo_chars: {} {} }}", fifo, duty(between, takes, takes, std::min(between / 5, takes / 2), true));
  return at_node(g);
}

/// Longer than the controller waits, now and then.
std::optional<Planted> busy_holds(const Ground& g) {
  const double spare = g.time_out - g.habits.mean_round_trip;
  const double takes = spare * log_between(g.dice, 0.6, 1.1);
  const double up_to = takes * log_between(g.dice, 1.3, 2);
  const double events = g.share * g.exchanges / 0.6;
  const double between = every(g.run() / events, 1.2 * up_to);
  g.draft.own_kind(g.node).fields["processor"] =
      fmt::format(" {{ {} }}", duty(between, takes, up_to, std::min(between / 6, up_to / 6), false));
  return at_node(g);
}

std::optional<Planted> busy_bleeding(const Ground& g) {
  const std::size_t node = multi_node(g);
  const double cells = g.draft.kind_of(node).cells;
  const double spare = g.time_out - g.habits.mean_round_trip;
  const double per_cell = spare * log_between(g.dice, 0.4, 2) / std::max(1.0, cells / 3) * std::pow(g.factor, 0.3);
  constexpr double most_cells = 16;  // that a scenario has to allow for
  const double between = every(log_between(g.dice, 2e9, 8e9), per_cell * most_cells + 60e6);
  g.draft.own_kind(node).fields["processor"] =
      fmt::format(" {{ duty {{ name: \"bleed\" every: {} takes: \"2ms\" per_bleeding_cell: {} jitter: \"50ms\" }} }}",
                  span_text(between), span_text(per_cell));
  return Planted{{}, {node}, false};
}

/// A duty that now and then takes longer than the watchdog waits; what does not reach that far holds nothing up for
/// long.
std::optional<Planted> watchdog(const Ground& g) {
  const double waits = std::max(4e6, (g.time_out - g.habits.round_trip) * log_between(g.dice, 0.2, 0.6));
  const double up_to = waits * 1.2;
  const double start_up = log_between(g.dice, 0.5e9, 15e9);
  const double hits = 1 + start_up / std::max(g.period, g.time_out);
  const double resets = g.share * g.exchanges / hits;
  const double between = every(g.run() / (6 * resets), 1.3 * up_to);
  auto& fields = g.draft.own_kind(g.node).fields;
  fields["start_up"] = fmt::format(": {}", span_text(start_up));
  fields["processor"] = fmt::format(" {{ watchdog: {} {} }}", span_text(waits),
                                    duty(between, waits * 0.05, up_to, std::min(between / 8, up_to / 8), false));
  return at_node(g);
}

/// A converter slower than the controller waits.
std::optional<Planted> slow_measurement(const Ground& g) {
  const double cells = g.draft.kind_of(g.node).cells;
  const double all = g.time_out * log_between(g.dice, 0.9, 1.6) * std::pow(g.factor, 0.1);
  g.draft.own_kind(g.node).fields["measurement"] =
      fmt::format(" {{ snapshot: \"5ms\" per_cell: {} }}", span_text(all / cells));
  return at_node(g);
}

std::optional<Planted> settling(const Ground& g) {
  const double settle = g.time_out * log_between(g.dice, 0.95, 1.5);
  g.draft.own_kind(g.node).fields["measurement"] =
      fmt::format(" {{ settle: {} snapshot: \"5ms\" per_cell: \"1ms\" bleed: PAUSED_IF_ON }}", span_text(settle));
  return at_node(g);
}

std::optional<Planted> measured_while_bleeding(const Ground& g) {
  g.draft.own_kind(g.node).fields["measurement"] =
      " { settle: \"2ms\" snapshot: \"5ms\" per_cell: \"1ms\" bleed: KEPT_ON }";
  g.draft.controller["exact_within"] = fmt::format(": \"{}uV\"", 1500 + 250 * g.dice.up_to(4));
  return at_node(g);
}

std::optional<Planted> stale(const Ground& g) {
  const double fresh = log_between(g.dice, 0.5e9, 5e9);
  const double asked = std::max(0.01, g.habits.asked[g.node]);
  const double period = fresh / (1 - std::min(0.8, g.share / asked));
  g.draft.own_kind(g.node).fields["measurement"] =
      fmt::format(" {{ when: FREE_RUNNING snapshot: \"5ms\" per_cell: \"1ms\" period: {} }}", span_text(period));
  g.draft.controller["fresh_within"] = fmt::format(": {}", span_text(fresh));
  return at_node(g);
}

/// Too short for the longest frames that pass it.
std::optional<Planted> short_buffer(const Ground& g) {
  const auto longest = g.habits.longest_chars;
  const auto shortest = g.habits.shortest_answer + 2;
  if (longest < shortest + 2) return std::nullopt;
  g.draft.own_kind(g.node).fields["buffer_bytes"] =
      fmt::format(": {}", longest - 1 - g.dice.up_to((longest - shortest) / 2));
  return at_node(g);
}

/// Characters come in faster than they go out.
std::optional<Planted> short_fifo(const Ground& g) {
  const double error = -log_between(g.dice, 0.015, 0.028) - 0.001 * std::log2(g.factor);
  auto& fields = g.draft.own_kind(g.node).fields;
  fields["forwarding"] = " { by_character { lag_half_bits: 1 fifo_chars: 1 } }";
  fields["clock"] = fmt::format(" {{ error: {} }}", ppb_text(error));
  return at_node(g);
}

/// It sleeps if the silence before a frame is a long one.
std::optional<Planted> sleeps(const Ground& g) {
  const double silence = std::max(10e6, g.period - g.habits.mean_round_trip * log_between(g.dice, 0.5, 1.5));
  auto& fields = g.draft.own_kind(g.node).fields;
  fields["sleep_after"] = fmt::format(": {}", span_text(silence * std::pow(g.factor, -0.3)));
  fields["wake_up"] = fmt::format(": {}", span_text(log_between(g.dice, 1e6, 6e6)));
  g.draft.controller["retries"] = fmt::format(": {}", 1 + g.dice.up_to(1));
  return at_node(g);
}

constexpr Planted at_controller{{}, {}, true};

std::optional<Planted> controller_masks(const Ground& g) {
  const std::uint64_t fifo = g.dice.of<std::uint64_t>({1, 2, 4, 8});
  const double takes = (static_cast<double>(fifo) + 1) * 10e9 / g.draft.baud * log_between(g.dice, 1.5, 8);
  const double between = every(g.between(g.draft.links() - 1, takes), 1.5 * takes);
  g.draft.controller["processor"] = fmt::format(" {{ fifo_chars: {} {} }}", fifo,
                                                duty(between, takes, takes, std::min(between / 5, takes / 2), true));
  return at_controller;
}

std::optional<Planted> controller_timer_first(const Ground& g) {
  const double takes = g.time_out * log_between(g.dice, 0.8, 1.2);
  const double events = g.share * g.exchanges / 0.5;
  const double between = every(g.run() / events, 1.6 * takes);
  g.draft.controller["processor"] = fmt::format(" {{ {} }}", duty(between, takes, takes * 1.3, between / 10, false));
  g.draft.controller["timer_first"] = ": true";
  return at_controller;
}

std::optional<Planted> controller_wraps(const Ground& g) {
  const std::uint64_t bits = 10 + g.dice.up_to(12);
  const double hit = std::min(1.0, g.time_out / g.period);
  const double wraps = g.share * g.exchanges / hit;
  const double tick = g.run() / wraps / std::pow(2.0, static_cast<double>(bits));
  g.draft.controller["clock_wrap"] = fmt::format(" {{ bits: {} tick: {} }}", bits, span_text(tick));
  return at_controller;
}

constexpr Wanted balancing{.balancing = true};
constexpr Wanted balancing_multi{.balancing = true, .multi = true};
constexpr Wanted whole_multi{.multi = true, .plain = true};
constexpr Wanted characters{.by_character = true, .multi = true};

constexpr std::array station{
    Plant{"receiver masked", Mechanism::busy_node, {}, busy_masks},
    Plant{"processor holds up", Mechanism::busy_node, {}, busy_holds},
    Plant{"busy bleeding", Mechanism::busy_node, balancing_multi, busy_bleeding},
    Plant{"watchdog", Mechanism::watchdog, {}, watchdog},
    Plant{"slow measurement", Mechanism::measurement, {}, slow_measurement, 40},
    Plant{"settling", Mechanism::measurement, balancing, settling},
    Plant{"measured bleeding", Mechanism::measurement, balancing_multi, measured_while_bleeding},
    Plant{"stale snapshots", Mechanism::measurement, {}, stale},
    Plant{"short buffer", Mechanism::room, whole_multi, short_buffer, 60},
    Plant{"short FIFO", Mechanism::room, characters, short_fifo, 60},
    Plant{"sleep", Mechanism::wake_up, {}, sleeps, 60},
    Plant{"controller masked", Mechanism::controller, {}, controller_masks},
    Plant{"timer first", Mechanism::controller, {}, controller_timer_first},
    Plant{"clock wraps", Mechanism::controller, {}, controller_wraps},
};

}  // namespace

std::span<const Plant> station_plants() { return station; }

}  // namespace hopbench::rates
