// What comes with charging and balancing: ripple, edges of bleeds, supplies that break down.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "plant.h"

namespace hopbench::rates {
namespace {

/// One hop in three, otherwise every hop; brings the bits that are exposed, for each exchange.
double expose(const Ground& g, Planted& planted) {
  if (chance(g.dice, 33)) {
    const std::size_t link = g.some_link();
    planted.links = {link};
    return g.habits.frames[link] * g.habits.bits[link];
  }
  double bits = 0;
  for (std::size_t i = 0; i < g.habits.frames.size(); ++i) bits += g.habits.frames[i] * g.habits.bits[i];
  return bits;
}

std::optional<Planted> finish(const Ground& g, Planted planted, const std::string& conditions) {
  if (planted.links.empty()) {
    g.draft.every_hop += conditions + " ";
  } else {
    g.draft.hops.push_back({planted.links.front(), conditions});
  }
  return planted;
}

std::optional<Planted> ripple(const Ground& g) {
  Planted planted;
  const double bits = expose(g, planted);
  const bool fifty = chance(g.dice, 60);
  const double period = fifty ? 10e6 : 8333333;
  const double window = log_between(g.dice, 0.2e6, 2e6);
  constexpr double charging = 0.3;  // of the time, about
  const double rate = std::min(0.5, g.share / (bits * charging * window / period));
  const std::string wander = chance(g.dice, 40) ? "wander: \"0.1%\" wander_every: \"5min\" " : "";
  return finish(g, planted,
                fmt::format("line_ripple {{ period: {} window: {} bit_error: {} {}}}", span_text(period),
                            span_text(window), share_text(rate), wander));
}

std::optional<Planted> bleed_edges(const Ground& g) {
  Planted planted;
  const double bits = expose(g, planted);
  const double window = log_between(g.dice, 5e3, 100e3);
  constexpr double bled = 0.1;  // of the time, a cell
  const double rate = std::min(0.5, g.share / (bits * bled * window / 2e6));
  return finish(g, planted,
                fmt::format("bleed_edge {{ window: {} bit_error: {} }}", span_text(window), share_text(rate)));
}

/// A tap with a bad contact takes the supply away while the cell beside it is bled: its current loses more there than
/// the board can spare.
std::optional<Planted> brown_out(const Ground& g) {
  const double cells = g.draft.kind_of(g.node).cells;
  constexpr double charged = 3.42;  // volts of a cell
  const double lost = 0.18 * cells / charged * log_between(g.dice, 1.05, 1.6) * std::pow(g.factor, 0.05);
  if (lost > 0.74) return std::nullopt;  // no tap of 100 ohm or less loses that much
  const double resistance = 33 * lost / (1 - lost);
  auto& fields = g.draft.own_kind(g.node).fields;
  fields["start_up"] = fmt::format(": \"{}s\"", g.dice.of<int>({2, 5, 10, 15}));
  fields["supply"] = fmt::format(" {{ current: \"5mA\" brown_out: \"{}mV\" brown_in: \"{}mV\" }}",
                                 std::llround(3240 * cells), std::llround(3260 * cells));
  g.draft.taps += fmt::format("  tap {{ node: \"{}\" resistance: \"{}mohm\" }}\n", g.draft.nodes[g.node].name,
                              std::llround(1000 * resistance));
  return Planted{{}, {g.node}, false};
}

/// The whole string sags under the load, and one board bears less of it than the others.
std::optional<Planted> sag(const Ground& g) {
  const double cells = g.draft.kind_of(g.node).cells;
  const double at = log_between(g.dice, 3.225, 3.285) + 0.004 * std::log2(g.factor);
  auto& fields = g.draft.own_kind(g.node).fields;
  fields["start_up"] = fmt::format(": \"{}s\"", g.dice.of<int>({2, 5, 10, 15}));
  fields["supply"] = fmt::format(" {{ current: \"10mA\" inrush: \"40mA\" brown_out: \"{}mV\" brown_in: \"{}mV\" }}",
                                 std::llround(1000 * at * cells), std::llround(1000 * at * cells + 5));
  return Planted{{}, {g.node}, false};
}

constexpr Wanted battery{.battery = true};
constexpr Wanted balancing{.balancing = true};

constexpr std::array power{
    Plant{"charger ripple", Mechanism::charger, battery, ripple},
    Plant{"bleed edges", Mechanism::bleed_edges, balancing, bleed_edges},
    Plant{"bad tap", Mechanism::supply, balancing, brown_out, 40},
    Plant{"sagging string", Mechanism::supply, battery, sag, 40},
};

}  // namespace

std::span<const Plant> power_plants() { return power; }

}  // namespace hopbench::rates
