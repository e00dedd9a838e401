// A run that begins where another one has come to goes on as the other one did.
#include <algorithm>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "pack/pack.h"
#include "scenarios.h"
#include "study/failures.h"
#include "study/shrink_units.h"
#include "support/collector.h"

namespace hopbench {
namespace {

using study_tests::loaded;

// Five rounds of this take 7.2 s: 36 exchanges, one each 200 ms, 12 of them in the first round. No exchange takes
// longer.
const std::string goes_on = R"(
name: "goes-on" seed: 5 run_for: "20min" bus: "bench-frame"
kind { name: "plain" cells: 4 clock { spread: "0.1%" } measurement { when: FREE_RUNNING period: "7s" snapshot: "2ms" }
       processor { duty { name: "store" every: "770ms" takes: "3ms" takes_up_to: "20ms" jitter: "50ms" masks: true }
                   fifo_chars: 4 } }
nodes { name: "n" count: 6 kind: "plain" }
every_hop { isolator_delay: "1us" }
hop { into: "n3" contact { mean_between: "30s" mean_open: "200ms" } }
hop { into: "n2" burst { mean_good: "20s" mean_bad: "100ms" bad_bit_error: "3%" } }
hop { into: "n6" open { from: "620s" to: "621s" } }
hop { into: "n4..n5" bit_error: "2e-5" }
fault { name: "loss" class: LOSS nodes: "n2" leg: ANSWERS rate: "20%" from: "300s" to: "800s" }
fault { name: "restart" class: RESET nodes: "n5" at: "100s" at: "700s" }
controller {
  time_out: "100ms" pace: "200ms"
  fresh_within: "6s"
  clock_wrap { bits: 14 tick: "3ms" starts_at: 3000 }
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
  poll { name: "health" topic: "line_health" nodes: ["n1..n6"] every: 5 }
})";

const std::string with_battery = R"(
name: "charged" seed: 3 run_for: "20min" bus: "bench-frame"
battery { capacity: "10Ah" capacity_spread: "2%" charge: "90%" charge_spread: "3%" cell_resistance: "2mohm" leakage: "2mA" }
cycle { period: "1h" load: "2A" load_from: "0s" load_for: "10min" charge: "4A" charge_from: "20min" charge_for: "30min"
        absorb: "3.55V" done: "100mA" }
air { mean: "25C" swing: "6C" }
kind { name: "k" cells: 4 bleed { resistor: "33ohm" } heat { idle: "100mW" rise: "30K/W" time: "5min" } }
nodes { name: "n" count: 3 kind: "k" }
controller {
  time_out: "100ms" pace: "1s"
  balancing { every: "70s" start: "3.38V" difference: "4mV" hysteresis: "2mV" }
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
})";

std::string line(const Collector& collector, const KeptExchange& exchange) {
  std::string text = collector.info.entries[exchange.seen.entry].name + " turn " + std::to_string(exchange.seen.turn) +
                     " at " + std::to_string(exchange.seen.start) + " outcome " +
                     std::to_string(static_cast<int>(exchange.seen.outcome));
  for (const auto& row : exchange.rows) text += " " + std::to_string(static_cast<int>(row.symptom));
  for (const auto& truth : exchange.attempt_truths) text += " " + std::string(name_of(truth.cause));
  return text;
}

}  // namespace

TEST_CASE("a run that begins later goes on as one from the beginning did") {
  const Scenario whole = loaded(goes_on);
  const Protocol protocol(whole.bus);
  constexpr Nanos later = 600 * second;
  Collector all;
  Chain chain(protocol, whole.chain, 5, Way::repeats, Seat::simulated, all);
  REQUIRE(chain.run_until(later - 1));
  const StartSpec start = chain.standing();
  CHECK(start.at == later - Pack::step);
  REQUIRE(chain.run_until(later));
  const StartSpec at_later = chain.standing();
  REQUIRE(at_later.at == later);
  CHECK(at_later.round == 83 * 5 + 1);  // 83 x 7.2 s + 2.4 s
  REQUIRE(chain.run_until(2 * later));
  chain.finish({});

  const Scenario begun = loaded(with_start(whole, at_later));
  for (const Way way : {Way::repeats, Way::every_byte}) {
    Collector rest;
    Chain again(protocol, begun.chain, 5, way, Seat::simulated, rest);
    REQUIRE(again.run_until(2 * later));
    again.finish({});
    std::vector<std::string> expected;
    for (const auto& exchange : all.exchanges) {
      if (exchange.seen.start >= later) expected.push_back(line(all, exchange));
    }
    REQUIRE(expected.size() == rest.exchanges.size());
    std::size_t failures = 0;
    for (std::size_t i = 0; i < expected.size(); ++i) {
      REQUIRE(line(rest, rest.exchanges[i]) == expected[i]);
      failures += rest.exchanges[i].seen.outcome == Outcome::answered ? 0U : 1U;
    }
    CHECK(failures > 100);
  }
}

TEST_CASE("cells and boards stand where they had come to") {
  const Scenario whole = loaded(with_battery);
  const Protocol protocol(whole.bus);
  constexpr Nanos later = 1500 * second;  // while it charges
  Collector all;
  Chain chain(protocol, whole.chain, 3, Way::repeats, Seat::simulated, all);
  REQUIRE(chain.run_until(later));
  const StartSpec start = chain.standing();
  REQUIRE(start.nodes.size() == 3);
  REQUIRE(chain.run_until(later + 60 * second));
  const StartSpec after = chain.standing();
  chain.finish({});

  const Scenario begun = loaded(with_start(whole, start));
  Collector rest;
  Chain again(protocol, begun.chain, 3, Way::repeats, Seat::simulated, rest);
  // As it was written down, to its last digit.
  const StartSpec at_once = again.standing();
  CHECK(at_once.at == later);
  for (std::size_t i = 0; i < 3; ++i) {
    CHECK(at_once.nodes[i].board_mc == start.nodes[i].board_mc);
    for (std::size_t cell = 0; cell < 4; ++cell) {
      CHECK(std::abs(at_once.nodes[i].charge_ppm[cell] - start.nodes[i].charge_ppm[cell]) <= 1);
    }
  }
  REQUIRE(again.run_until(later + 60 * second));
  const StartSpec there = again.standing();
  again.finish({});
  CHECK(there.at == after.at);
  for (std::size_t i = 0; i < 3; ++i) {
    for (std::size_t cell = 0; cell < 4; ++cell) {
      // One part in a million is lost in writing it down, and the bleeds are told anew, 100 mA for seconds.
      CHECK(std::abs(there.nodes[i].charge_ppm[cell] - after.nodes[i].charge_ppm[cell]) <= 30);
      CHECK(there.nodes[i].charge_ppm[cell] > start.nodes[i].charge_ppm[cell] + 5'000);  // 4 A of 10 Ah for a minute
    }
    CHECK(std::abs(*there.nodes[i].board_mc - *after.nodes[i].board_mc) <= 2'000);
  }
}

TEST_CASE("a board that is warmer than the air cools down, whatever else moves") {
  const Scenario scenario = loaded(R"(
name: "warm" bus: "bench-frame"
begins { standing { node: "n" board: "95C" } }
kind { name: "k" heat { idle: "100mW" rise: "30K/W" time: "1min" } }
nodes { name: "n" kind: "k" }
controller { pace: "1s" poll { name: "plate" topic: "nameplate" nodes: "*" } }
)");
  const Protocol protocol(scenario.bus);
  Collector heard;
  Chain chain(protocol, scenario.chain, 3, Way::repeats, Seat::simulated, heard);
  CHECK(chain.standing().nodes.at(0).board_mc == 95'000);
  REQUIRE(chain.run_until(60 * second));
  // Air of 25 degrees and 3 K of its own: 67 K above at first, a time constant later 1/e of it.
  CHECK(std::abs(*chain.standing().nodes.at(0).board_mc - (28'000 + 24'648)) < 50);
  chain.finish({});
}

TEST_CASE("a charge that was over when the run begins is over") {
  const Scenario whole = loaded(with_battery);
  const Protocol protocol(whole.bus);
  Collector all;
  Chain chain(protocol, whole.chain, 3, Way::repeats, Seat::simulated, all);
  Nanos at = 1200 * second;
  for (; at < 3000 * second && !chain.standing().charged; at += 10 * second) REQUIRE(chain.run_until(at));
  const StartSpec start = chain.standing();
  REQUIRE(start.charged);
  const Scenario begun = loaded(with_start(whole, start));
  Collector rest;
  Chain again(protocol, begun.chain, 3, Way::repeats, Seat::simulated, rest);
  REQUIRE(again.run_until(start.at + 120 * second));
  CHECK(again.standing().nodes[0].charge_ppm[0] <= start.nodes[0].charge_ppm[0]);
}

TEST_CASE("the balancing rule looks when it would have looked") {
  std::string eager = with_battery;
  const std::string rule = R"(start: "3.38V" difference: "4mV" hysteresis: "2mV")";
  REQUIRE(eager.find(rule) != std::string::npos);
  eager.replace(eager.find(rule), rule.size(), R"(start: "3.20V" difference: "0mV" hysteresis: "0mV")");
  const Scenario whole = loaded(eager);
  const Protocol protocol(whole.bus);
  Collector all;
  Chain chain(protocol, whole.chain, 3, Way::repeats, Seat::simulated, all);
  REQUIRE(chain.run_until(2000 * second));
  const StartSpec start = chain.standing();
  const Scenario begun = loaded(with_start(whole, start));
  Collector rest;
  Chain again(protocol, begun.chain, 3, Way::repeats, Seat::simulated, rest);
  REQUIRE(again.run_until(start.at + 120 * second));
  again.finish({});
  const auto tells = std::find_if(rest.exchanges.begin(), rest.exchanges.end(), [&](const KeptExchange& each) {
    return rest.info.entries[each.seen.entry].name.starts_with("balance/");
  });
  // Every 70 s from the beginning of everything.
  REQUIRE(tells != rest.exchanges.end());
  CHECK(tells->seen.start >= 2030 * second);
  CHECK(tells->seen.start < 2035 * second);
}

TEST_CASE("what-if looks at a run that begins in a late round") {
  std::string text = goes_on;
  text += R"(begins { after: "600s" round: 900000000000000 })";
  const Scenario late = loaded(text);
  const Protocol protocol(late.bus);
  const auto set =
      failures_of(protocol, late.chain, 5, {60 * second, 0}, second, Keep::identities, {}, [] { return false; });
  CHECK(set.end == RunEnd::done);
  CHECK(set.failed > 10);
  CHECK(set.entries.at("cells/n1").turns > 20);
  CHECK(set.entries.at("cells/n1").turns < 100);
}

}  // namespace hopbench
