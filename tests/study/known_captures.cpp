#include "known_captures.h"

#include <algorithm>
#include <initializer_list>
#include <stdexcept>

#include "chain/chain.h"
#include "measure/fan_out.h"
#include "measure/thinner.h"
#include "study/evidence_fold.h"
#include "study/specimens.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

/// A ring of twelve, invented; `kind`, `hops` and `more` say what is wrong with it.
std::string ring(const std::string& kind, const std::string& hops, const std::string& every_hop = {},
                 const std::string& more = {}, const std::string& controller = {}) {
  return R"(name: "known"
seed: 1
run_for: "1h"
bus: "bench-frame"
baud: 19200
shape: RING
kind { name: "single" answer_after: "500us" )" +
         kind + R"( levels { level: "3.31V" spread: "6mV" swing: "15mV" } }
kind { name: "eight" cells: 8 measurement { snapshot: "8ms" per_cell: "1ms" } levels { level: "3.31V" spread: "6mV" swing: "15mV" } }
nodes { name: "a" count: 6 kind: "single" }
nodes { name: "m" count: 2 kind: "eight" }
nodes { name: "b" count: 4 kind: "single" }
every_hop { isolator_delay: "1us" )" +
         every_hop + R"( }
)" + hops +
         more +
         R"(
controller { time_out: "300ms" gap: "5ms" )" +
         controller + R"(
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
  poll { name: "boards" topic: "conditions" nodes: "*" every: 7 }
})";
}

/// The same with a battery, two days of short charge cycles: four hours each, of which two charge.
std::string battery_ring(const std::string& every_hop, const std::string& more = {}, const std::string& tap = {},
                         const std::string& controller = {}) {
  return R"(name: "known"
run_for: "2d"
bus: "bench-frame"
baud: 19200
shape: RING
battery { capacity: "10Ah" capacity_spread: "2%" charge: "90%" charge_spread: "3%" cell_resistance: "2mohm"
          tap_resistance: "20mohm" leakage: "2mA" leakage_spread: "2mA" )" +
         tap + R"( }
cycle { period: "4h" load: "2A" load_from: "10min" load_for: "100min" charge: "4A" charge_from: "2h" charge_for: "110min"
        absorb: "3.55V" done: "100mA" }
air { mean: "25C" swing: "6C" }
kind { name: "single" bleed { resistor: "33ohm" duty: "50%" chop_period: "4ms" }
       heat { idle: "50mW" rise: "40K/W" time: "5min" hot_spot: "30K/W" } supply { current: "10mA" } }
kind { name: "eight" cells: 8 measurement { snapshot: "8ms" per_cell: "1ms" }
       bleed { resistor: "33ohm" duty: "50%" chop_period: "4ms" }
       heat { idle: "100mW" rise: "12K/W" time: "8min" hot_spot: "30K/W" } supply { current: "10mA" } }
nodes { name: "a" count: 6 kind: "single" }
nodes { name: "m" count: 2 kind: "eight" }
nodes { name: "b" count: 4 kind: "single" }
every_hop { isolator_delay: "1us" )" +
         every_hop + R"( }
)" + more +
         R"(
controller { time_out: "300ms" gap: "1s" )" +
         controller + R"(
  balancing { every: "10s" start: "3.38V" difference: "4mV" hysteresis: "2mV" }
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
  poll { name: "boards" topic: "conditions" nodes: "*" every: 7 }
})";
}

/// The same with cells of so much resistance that supplies are low most of the time, seen from the end of a charge.
std::string weak_cells(std::string scenario) {
  const std::string stated = "cell_resistance: \"2mohm\"";
  return scenario.replace(scenario.find(stated), stated.size(), "cell_resistance: \"60mohm\"");
}

/// One more node at the end of the chain, of a kind of its own.
std::string last_node(const std::string& kind) {
  return R"(nodes { name: "z" kind: "other" } kind { name: "other" )" + kind + " }";
}

/// Electrical forwarding needs a bus that rewrites nothing.
std::string electrical_ring(const std::string& every_hop) {
  return R"(name: "known" run_for: "1h" bus: "modbus-rtu" baud: 19200 shape: RING
kind { name: "single" on_unknown_topic: REFUSE forwarding { electrical { delay: "1us" } }
       levels { level: "3.31V" spread: "30mV" swing: "120mV" } }
kind { name: "last" on_unknown_topic: REFUSE levels { level: "3.31V" spread: "30mV" swing: "120mV" } }
nodes { name: "s" count: 10 kind: "single" address: 1 }
nodes { name: "e" kind: "last" address: 11 }
every_hop { isolator_delay: "1us" )" +
         every_hop + R"( }
controller { time_out: "500ms" gap: "20ms"
  poll { name: "cells" topic: "read_holding" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
  poll { name: "boards" topic: "read_input" nodes: "*" with { field: "first" value: 101 } with { field: "count" value: 4 } every: 5 }
})";
}

std::vector<KnownCapture> made() {
  using M = Mechanism;
  return {
      {"noise on one hop", M::bit_noise, {}, ring("", R"(hop { into: "a4" bit_error: "5e-5" })"), {4}},
      {"noise on every hop", M::bit_noise, {}, ring("", "", R"(bit_error: "1e-5")"), {}},
      {"bursts",
       M::bursts,
       {},
       ring("", R"(hop { into: "m1" burst { mean_good: "20s" mean_bad: "60ms" bad_bit_error: "3%" } })"),
       {7}},
      {"contact",
       M::contact,
       {},
       ring("", R"(hop { into: "b2" contact { mean_between: "10s" mean_open: "20ms" } })"),
       {10}},
      {"contact, reads low",
       M::contact,
       {M::bursts, M::pulse_width},
       ring("", R"(hop { into: "b2" contact { mean_between: "10s" mean_open: "20ms" reads_low: true } })"),
       {10}},
      {"cable", M::cable, {}, ring("", R"(hop { into: "a3" open { from: "20min" to: "22min" } })"), {3}},
      {"clock",
       M::clock,
       {},
       ring(
           "", "", "",
           R"(nodes { name: "c" kind: "slow" } nodes { name: "d" kind: "single" } kind { name: "slow" clock { error: "-4.4%" } })"),
       {}},
      {"clock far off",
       M::clock,
       {M::pulse_width},
       ring(
           "", "", "",
           R"(nodes { name: "c" kind: "slow" } nodes { name: "d" kind: "single" } kind { name: "slow" clock { error: "-5.5%" } })"),
       {}},
      {"room", M::room, {}, ring("buffer_bytes: 28", ""), {}},
      {"measurement",
       M::measurement,
       {},
       ring(
           "", "", "",
           R"(nodes { name: "c" kind: "slow" } kind { name: "slow" cells: 12 measurement { snapshot: "20ms" per_cell: "30ms" } })"),
       {}},
      {"injected loss",
       M::injected,
       {},
       ring("", "", "", R"(fault { name: "f" class: LOSS into: "a5" rate: "0.5%" })"),
       {5}},
      {"injected delay",
       M::injected,
       {M::busy_node, M::measurement},
       ring(
           "", "", "",
           R"(fault { name: "f" class: DELAY nodes: "b2" topics: "readings" leg: ANSWERS into: "controller" rate: "5%" by: "350ms" })"),
       {}},
      {"injected corruption",
       M::injected,
       {M::bit_noise, M::bursts, M::contact},  // a bit is a bit
       ring("", "", "", R"(fault { name: "f" class: CORRUPTION into: "b2" rate: "0.5%" bits: 1 })"),
       {}},
      {"injected resets",
       M::injected,
       {M::supply, M::watchdog},
       ring(
           "start_up: \"3s\"", "", "",
           R"(fault { name: "f" class: RESET nodes: "a5" at: ["5min", "10min", "20min", "30min", "41min", "50min"] })"),
       {}},
      {"processor masks its receiver",
       M::busy_node,
       {},
       ring(
           "", "", "",
           last_node(
               R"(processor { fifo_chars: 2 duty { name: "store" every: "2s" takes: "8ms" jitter: "500ms" masks: true } })")),
       {13}},
      {"processor holds frames up",
       M::busy_node,
       {},
       ring(
           "", "", "",
           last_node(
               R"(processor { duty { name: "store" every: "3s" takes: "200ms" takes_up_to: "400ms" jitter: "500ms" } })")),
       {}},
      {"watchdog",
       M::watchdog,
       {M::supply},
       ring(
           "", "", "",
           last_node(
               R"(start_up: "2s" processor { watchdog: "200ms" duty { name: "store" every: "20s" takes: "10ms" takes_up_to: "240ms" jitter: "5s" } })")),
       {13}},
      {"sleep",
       M::wake_up,
       {},
       ring("", "", "", last_node(R"(sleep_after: "400ms" wake_up: "2ms")"), R"(retries: 1 pace: "700ms")"),
       {}},
      {"controller masks its receiver",
       M::controller,
       {},
       ring("", "", "", "",
            R"(processor { fifo_chars: 2 duty { name: "web" every: "2s" takes: "8ms" jitter: "400ms" masks: true } })"),
       {13}},
      {"controller looks at its timer first",
       M::controller,
       {},
       ring(
           "", "", "", "",
           R"(timer_first: true processor { duty { name: "web" every: "4s" takes: "250ms" takes_up_to: "400ms" jitter: "1s" } })"),
       {}},
      {"controller's clock goes round", M::controller, {}, ring("", "", "", "", "clock_wrap { bits: 15 }"), {}},
      {"pulse width", M::pulse_width, {M::clock}, electrical_ring(R"(lows_longer: "2500ns")"), {11}},
      {"noise through charge cycles", M::bit_noise, {}, battery_ring(R"(bit_error: "2e-6")"), {}},
      {"charger", M::charger, {}, battery_ring(R"(line_ripple { window: "1ms" bit_error: "1e-4" })"), {}},
      {"bleed edges", M::bleed_edges, {}, battery_ring(R"(bleed_edge { window: "20us" bit_error: "1e-3" })"), {}},
      {"clock that warms up",
       M::clock,
       {},
       battery_ring(
           "",
           last_node(
               R"(cells: 4 bleed { resistor: "33ohm" } heat { idle: "100mW" rise: "30K/W" time: "5min" hot_spot: "30K/W" } clock { error: "-3.4%" per_kelvin: "-800ppm" })")),
       {13}},
      {"processor busy with bleeding",
       M::busy_node,
       {},
       battery_ring(
           "",
           last_node(
               R"(cells: 8 bleed { resistor: "33ohm" } measurement { snapshot: "8ms" per_cell: "1ms" } processor { duty { name: "bleed" every: "3s" takes: "2ms" per_bleeding_cell: "75ms" jitter: "100ms" } })")),
       {}},
      {"settling while bleeding",
       M::measurement,
       {},
       battery_ring(
           "",
           last_node(
               R"(cells: 12 bleed { resistor: "33ohm" } measurement { settle: "260ms" snapshot: "20ms" per_cell: "2ms" bleed: PAUSED_IF_ON })")),
       {}},
      {"measured while bleeding",
       M::measurement,
       {},
       battery_ring(
           "",
           last_node(
               R"(cells: 8 bleed { resistor: "33ohm" } measurement { snapshot: "8ms" per_cell: "1ms" bleed: KEPT_ON })"),
           "", R"(exact_within: "2mV")"),
       {}},
      // Supplies fall and rise with the charge cycle, and have nothing to do with it.
      {"watchdog through charge cycles",
       M::watchdog,
       {},
       weak_cells(battery_ring(
           "",
           last_node(
               R"(start_up: "10s" bleed { resistor: "33ohm" } supply { current: "10mA" } processor { watchdog: "200ms" duty { name: "store" every: "20s" takes: "10ms" takes_up_to: "240ms" jitter: "5s" } })"),
           "")),
       {13}},
      {"supply",
       M::supply,
       {M::watchdog},
       battery_ring(
           "",
           last_node(
               R"(start_up: "10s" bleed { resistor: "33ohm" } supply { current: "2mA" brown_out: "3.13V" brown_in: "3.16V" })"),
           R"(tap { node: "z" resistance: "8ohm" })"),
       {13}},
      {"injected memory",
       M::injected,
       {},
       ring("", "", "", R"(fault { name: "f" class: MEMORY nodes: "a5" rate: "0.5%" })"),
       {}},
  };
}

}  // namespace

const std::vector<KnownCapture>& known_captures() {
  static const std::vector<KnownCapture> all = made();
  return all;
}

std::string on_another_chain(std::string scenario) {
  const auto replace = [&](const std::string& what, const std::string& with) {
    if (const auto at = scenario.find(what); at != std::string::npos) scenario.replace(at, what.size(), with);
  };
  replace("baud: 19200", "baud: 38400");
  replace(R"("a" count: 6)", R"("a" count: 11)");
  replace(R"("m" count: 2)", R"("m" count: 3)");
  replace(R"("b" count: 4)", R"("b" count: 9)");
  return scenario;
}

bool accuses_balancing(const Explanation& explanation) {
  for (const auto& finding : explanation.cases) {
    if (!finding.not_enough.empty()) continue;
    // All that the controller cannot tell apart is named together, and that accuses nobody.
    if (explanation.sight == Sight::controller_only && finding.tied > 1) continue;
    for (std::size_t i = 0; i < finding.tied; ++i) {
      const auto mechanism = finding.candidates[i].mechanism;
      if (mechanism == Mechanism::bleed_edges || mechanism == Mechanism::balancing) return true;
    }
  }
  for (const auto& when : explanation.when.found) {
    if (when.condition == Condition::balancing && when.confounding != Confounding::borrowed &&
        when.confounding != Confounding::cannot_tell) {
      return true;
    }
  }
  return false;
}

namespace {

void run_for(const Scenario& scenario, const Protocol& protocol, std::uint64_t seed, Observer& listener) {
  Observed door(listener);
  Chain chain(protocol, scenario.chain, seed, Way::repeats, Seat::simulated, door);
  if (!chain.run_until(scenario.chain.run_for)) throw std::runtime_error("stuck");
  chain.finish({});
}

Scenario scenario_of(const std::string& text) {
  std::vector<Problem> problems;
  const TextFile file{"known.txtpb", text};
  auto scenario = load_scenario(file, buses_beside("known.txtpb"), problems);
  if (!scenario) throw std::runtime_error(problems.empty() ? "no scenario" : render(problems.front(), file));
  return std::move(*scenario);
}

}  // namespace

Explanation explain_scenario(const std::string& text, std::uint64_t seed, Eyes eyes) {
  const Scenario scenario = scenario_of(text);
  const Protocol protocol(scenario.bus);
  EvidenceFold fold;
  AtController shut(fold, &protocol);
  run_for(scenario, protocol, seed, eyes == Eyes::controller ? static_cast<Observer&>(shut) : fold);
  return explain(fold.evidence(), Reality::simulated);
}

Explanation explain_with_rules(const std::string& text, std::uint64_t seed) {
  const Scenario scenario = scenario_of(text);
  const Protocol protocol(scenario.bus);
  EvidenceFold fold;
  SpecimenFold kept(fold);
  run_for(scenario, protocol, seed, kept);
  return explain(fold.evidence(), Reality::simulated, nullptr, {&kept, &protocol});
}

std::pair<Explanation, Tallies> explain_thinned(const std::string& text, std::uint64_t seed, std::uint32_t one_in) {
  const Scenario scenario = scenario_of(text);
  EvidenceFold evidence;
  TallyFold tallies;
  Observed one(evidence);
  Observed other(tallies);
  FanOut both{&one, &other};
  Thinner thinner(both, one_in, 0);
  const Protocol protocol(scenario.bus);
  Sink& sink = one_in == 1 ? static_cast<Sink&>(both) : thinner;
  Chain chain(protocol, scenario.chain, seed, Way::repeats, Seat::simulated, sink);
  if (!chain.run_until(scenario.chain.run_for)) throw std::runtime_error("stuck");
  chain.finish({});
  return {explain(evidence.evidence(), Reality::simulated), tallies.tallies()};
}

std::vector<Mechanism> first_ones(const Explanation& explanation) {
  std::vector<Mechanism> first;
  if (explanation.cases.empty()) return first;
  const auto& finding = explanation.cases.front();
  for (std::size_t i = 0; i < finding.tied; ++i) first.push_back(finding.candidates[i].mechanism);
  return first;
}

bool leave_the_same(Mechanism one, Mechanism other) {
  using M = Mechanism;
  const auto both = [&](std::initializer_list<Mechanism> alike) {
    return std::count(alike.begin(), alike.end(), one) > 0 && std::count(alike.begin(), alike.end(), other) > 0;
  };
  // Pulses of the wrong length that hit two frames in three, each by itself, leave what a clock or bursts may leave.
  return both({M::pulse_width, M::clock, M::bursts}) || both({M::bit_noise, M::bursts, M::contact}) ||
         both({M::supply, M::watchdog}) || both({M::busy_node, M::room});
}

bool right(const KnownCapture& known, const Explanation& explanation, Eyes eyes) {
  constexpr std::size_t most_tied = 4;
  const auto first = first_ones(explanation);
  const auto in_group = [&](Mechanism mechanism) {
    return mechanism == known.mechanism ||
           std::find(known.group.begin(), known.group.end(), mechanism) != known.group.end();
  };
  if (std::none_of(first.begin(), first.end(), in_group)) return false;
  if (eyes == Eyes::controller) return true;
  return first.size() <= most_tied && std::all_of(first.begin(), first.end(), [&](Mechanism mechanism) {
           return in_group(mechanism) || leave_the_same(mechanism, known.mechanism);
         });
}

}  // namespace hopbench
