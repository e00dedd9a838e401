// Whether a node is at fault, from the controller: never for what hops do, and rightly for what nodes do. More seeds:
// HOPBENCH_SEEDS=200.
#include "study/node_excess.h"

#include <fmt/format.h>

#include <cstdlib>

#include "chain/chain.h"
#include "scenarios.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "support/dice.h"

using namespace hopbench;

namespace {

std::uint64_t seeds() {
  const char* wanted = std::getenv("HOPBENCH_SEEDS");
  return wanted == nullptr ? 24 : std::strtoull(wanted, nullptr, 10);
}

/// A chain of eight to fifteen single cells and two boards of six in its middle, without anything wrong but what `more`
/// says. All figures are invented.
std::string chain_text(Dice& dice, bool line, const std::string& more) {
  return fmt::format(
      R"(name: "who" run_for: "40min" bus: "bench-frame" baud: 19200 shape: {}
kind {{ name: "single" }} kind {{ name: "six" cells: 6 }}
nodes {{ name: "a" count: {} kind: "single" }} nodes {{ name: "m" count: 2 kind: "six" }} nodes {{ name: "b" count: {} kind: "single" }}
{}
controller {{ time_out: "300ms" gap: "{}ms" retries: {}
  poll {{ name: "cells" topic: "readings" nodes: "*" with {{ field: "first" value: 0 }} with {{ field: "count" own: CELLS }} }}
  poll {{ name: "boards" topic: "conditions" nodes: "*" every: 3 }}
}})",
      line ? "LINE" : "RING", 4 + dice.up_to(4), 4 + dice.up_to(3), more, 5 + dice.up_to(60), dice.up_to(1));
}

Evidence seen(const std::string& text, std::uint64_t seed) {
  const auto scenario = study_tests::loaded(text);
  const Protocol protocol(scenario.bus);
  EvidenceFold fold;
  AtController shut(fold, &protocol);
  Observed door(shut);
  Chain chain(protocol, scenario.chain, seed, Way::repeats, Seat::simulated, door);
  REQUIRE(chain.run_until(scenario.chain.run_for));
  chain.finish({});
  return fold.evidence();
}

}  // namespace

TEST_CASE("no node is accused of what hops do") {
  std::uint64_t with_failures = 0;
  for (std::uint64_t seed = 1; seed <= seeds(); ++seed) {
    CAPTURE(seed);
    Dice dice("hops at fault", seed);
    const bool line = dice.one_in(2);
    const std::string into = dice.of<std::string>({"a1", "a2", "a4", "m1", "m2", "b1", "b3", "b4"});
    const std::string what = dice.of<std::string>(
        {R"(bit_error: "3e-4")", R"(bit_error: "2e-5")", R"(contact { mean_between: "6s" mean_open: "200ms" })",
         R"(burst { mean_good: "4s" mean_bad: "80ms" bad_bit_error: "5%" })",
         R"(open { from: "10min" to: "16min" } open { from: "30min" to: "30.2min" })"});
    const auto text = chain_text(
        dice, line,
        fmt::format("hop {{ into: \"{}\" {}{} }}", into, line && dice.one_in(2) ? "homeward: true " : "", what));
    const auto evidence = seen(text, seed);
    if (evidence.failures >= 20) ++with_failures;
    INFO(text);
    const auto excesses = node_excesses(evidence);
    for (const auto& each : excesses.found) UNSCOPED_INFO(evidence.run.nodes[each.node] << " p " << each.adjusted_p);
    CHECK(excesses.found.empty());
    if (!line) continue;
    // Where a step is told, the hop lies within it.
    const auto step = line_step(evidence);
    if (!step) continue;
    const auto& nodes = evidence.run.nodes;
    const auto at = static_cast<std::uint16_t>(std::find(nodes.begin(), nodes.end(), into) - nodes.begin());
    const bool homeward = text.find("homeward: true") != std::string::npos;
    // On its way home a frame passes the hop into `into` from the node after it.
    const std::uint16_t first_beyond = homeward ? at + 1 : at;
    CHECK(step->first <= first_beyond);
    CHECK(first_beyond <= step->last);
  }
  CHECK(with_failures * 2 > seeds());
}

TEST_CASE("a node in the middle that loses its own answers is accused, and no other") {
  std::uint64_t accused = 0;
  for (std::uint64_t seed = 1; seed <= seeds(); ++seed) {
    CAPTURE(seed);
    Dice dice("node at fault", seed);
    const bool line = dice.one_in(2);
    const std::string node = dice.of<std::string>({"a2", "a3", "b2", "b3"});
    const auto text = chain_text(
        dice, line,
        fmt::format(
            R"(hop {{ into: "m1" bit_error: "1e-5" }} fault {{ name: "f" class: LOSS nodes: "{}" leg: ANSWERS rate: "{}%" }})",
            node, 4 + dice.up_to(20)));
    const auto evidence = seen(text, seed);
    for (const auto& each : node_excesses(evidence).found) {
      INFO(text);
      CHECK(evidence.run.nodes[each.node] == node);
      if (evidence.run.nodes[each.node] == node) ++accused;
    }
  }
  CHECK(accused * 10 >= seeds() * 9);
}

TEST_CASE("a board with longer answers is not accused of their length") {
  for (std::uint64_t seed = 1; seed <= 6; ++seed) {
    Dice dice("long answers", seed);
    const auto text = chain_text(dice, false, R"(every_hop { bit_error: "2e-5" })");
    CHECK(node_excesses(seen(text, seed)).found.empty());
  }
}

TEST_CASE("a node that never answers is told of, and one that sometimes does is not") {
  Dice dice("silent", 1);
  const auto evidence = seen(
      chain_text(
          dice, false,
          R"(fault { name: "f" class: LOSS nodes: "a3" leg: ANSWERS } fault { name: "g" class: LOSS nodes: "b2" leg: ANSWERS rate: "50%" })"),
      1);
  REQUIRE(never_answered(evidence).size() == 1);
  CHECK(evidence.run.nodes[never_answered(evidence).front()] == "a3");
}
