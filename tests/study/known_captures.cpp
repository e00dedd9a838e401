#include "known_captures.h"

#include <algorithm>
#include <stdexcept>

#include "nodes/chain.h"
#include "study/evidence_fold.h"
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
       {M::bursts},
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
       {},
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
       {M::bit_noise},
       ring("", "", "", R"(fault { name: "f" class: CORRUPTION into: "b2" rate: "0.5%" bits: 1 })"),
       {}},
      {"injected resets",
       M::injected,
       {M::supply, M::watchdog},
       ring(
           "start_up: \"3s\"", "", "",
           R"(fault { name: "f" class: RESET nodes: "a5" at: ["5min", "10min", "20min", "30min", "41min", "50min"] })"),
       {}},
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

Explanation explain_scenario(const std::string& text, std::uint64_t seed, Eyes eyes) {
  std::vector<Problem> problems;
  const TextFile file{"known.txtpb", text};
  const auto scenario = load_scenario(file, buses_beside("known.txtpb"), problems);
  if (!scenario) throw std::runtime_error(problems.empty() ? "no scenario" : render(problems.front(), file));
  EvidenceFold fold;
  AtController shut(fold);
  Observed door(eyes == Eyes::controller ? static_cast<Observer&>(shut) : fold);
  const Protocol protocol(scenario->bus);
  Chain chain(protocol, scenario->chain, seed, Way::repeats, Seat::simulated, door);
  if (!chain.run_until(scenario->chain.run_for)) throw std::runtime_error("stuck");
  chain.finish({});
  return explain(fold.evidence());
}

std::vector<Mechanism> first_ones(const Explanation& explanation) {
  std::vector<Mechanism> first;
  if (explanation.cases.empty()) return first;
  const auto& finding = explanation.cases.front();
  for (std::size_t i = 0; i < finding.tied; ++i) first.push_back(finding.candidates[i].mechanism);
  return first;
}

bool right(const KnownCapture& known, const Explanation& explanation, Eyes eyes) {
  const auto first = first_ones(explanation);
  const auto named = [&](Mechanism mechanism) {
    return std::find(first.begin(), first.end(), mechanism) != first.end();
  };
  const bool group = std::any_of(known.group.begin(), known.group.end(), named);
  if (!named(known.mechanism) && !group) return false;
  if (eyes == Eyes::controller) return true;
  return std::all_of(first.begin(), first.end(), [&](Mechanism mechanism) {
    return mechanism == known.mechanism ||
           std::find(known.group.begin(), known.group.end(), mechanism) != known.group.end();
  });
}

}  // namespace hopbench
