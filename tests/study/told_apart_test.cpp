// Mechanisms that look alike at first sight, each by itself on a chain, and what parts them.
#include <algorithm>

#include "known_captures.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

using M = Mechanism;

/// A ring of eight nodes of one cell, invented; `parts` say what is wrong with it.
std::string ring(const std::string& parts, const std::string& controller = R"(gap: "5ms")") {
  return R"(name: "alike" run_for: "1h" bus: "bench-frame" baud: 19200 shape: RING
kind { name: "one" answer_after: "500us" levels { level: "3.31V" spread: "6mV" swing: "15mV" } }
nodes { name: "a" count: 8 kind: "one" }
every_hop { isolator_delay: "1us" }
)" + parts +
         R"(
controller { time_out: "300ms" )" +
         controller + R"(
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
})";
}

/// Nodes of four cells of much resistance that are loaded and charged every four hours, so that supplies rise and fall.
std::string weak_battery(const std::string& last) {
  return R"(name: "alike" run_for: "2d" bus: "bench-frame" baud: 19200 shape: RING
battery { capacity: "10Ah" capacity_spread: "2%" charge: "90%" charge_spread: "3%" cell_resistance: "60mohm"
          tap_resistance: "20mohm" leakage: "2mA" leakage_spread: "2mA" }
cycle { period: "4h" load: "2A" load_from: "10min" load_for: "100min" charge: "4A" charge_from: "2h" charge_for: "110min"
        absorb: "3.55V" done: "100mA" }
air { mean: "25C" swing: "6C" }
kind { name: "four" cells: 4 supply { current: "10mA" } }
nodes { name: "a" count: 5 kind: "four" }
nodes { name: "z" kind: "last" }
kind { name: "last" cells: 4 start_up: "10s" )" +
         last + R"( }
every_hop { isolator_delay: "1us" }
controller { time_out: "300ms" gap: "1s"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
})";
}

std::string told(const Explanation& explanation) {
  std::string text = explanation.headline;
  for (const auto& finding : explanation.cases) {
    text += "\n" + finding.title + "; " + finding.symptoms + "; " + finding.spread + "; " + finding.verdict;
    for (const auto& rejected : finding.rejected) {
      text += "\n   not " + std::string(name_of(rejected.mechanism)) + ": " + rejected.fact;
    }
  }
  return text;
}

bool names(const std::vector<M>& first, M mechanism) {
  return std::find(first.begin(), first.end(), mechanism) != first.end();
}

}  // namespace

TEST_CASE("a contact that is open for half a second is no cable") {
  for (std::uint64_t seed = 1; seed <= 3; ++seed) {
    const auto explanation =
        explain_with_rules(ring(R"(hop { into: "a4" contact { mean_between: "40s" mean_open: "500ms" } })"), seed);
    CAPTURE(seed);
    INFO(told(explanation));
    CHECK(first_ones(explanation) == std::vector{M::contact});
  }
}

TEST_CASE("a contact that reads low is named together with bursts, which leave the same") {
  for (std::uint64_t seed = 1; seed <= 3; ++seed) {
    const auto explanation = explain_with_rules(
        ring(R"(hop { into: "a4" contact { mean_between: "10s" mean_open: "20ms" reads_low: true } })"), seed);
    CAPTURE(seed);
    INFO(told(explanation));
    const auto first = first_ones(explanation);
    CHECK(names(first, M::contact));
    CHECK(names(first, M::bursts));
    CHECK_FALSE(names(first, M::bit_noise));
    CHECK_FALSE(names(first, M::cable));
  }
}

TEST_CASE("a node that sleeps just before it is asked is not taken for noise") {
  for (const auto* sleep : {"300ms", "400ms", "480ms"}) {
    const auto explanation =
        explain_with_rules(ring(R"(nodes { name: "z" kind: "sleeper" } kind { name: "sleeper" sleep_after: ")" +
                                    std::string(sleep) + R"(" wake_up: "2ms" })",
                                R"(gap: "5ms" retries: 1 pace: "500ms")"),
                           1);
    CAPTURE(sleep);
    INFO(told(explanation));
    CHECK(first_ones(explanation) == std::vector{M::wake_up});
    REQUIRE_FALSE(explanation.where.hops.empty());
    CHECK(explanation.where.hops.front().link == 8);
  }
}

TEST_CASE("a clock that is off is named at its node also where characters are passed on one by one") {
  for (const auto* error : {"4.6%", "4.8%", "-4.6%", "-4.8%"}) {
    const auto explanation = explain_with_rules(
        R"(name: "alike" run_for: "10min" bus: "bench-frame" baud: 19200
kind { name: "one" forwarding { by_character {} } }
kind { name: "off" forwarding { by_character {} } clock { error: ")" +
            std::string(error) + R"(" } }
nodes { name: "a" count: 3 kind: "one" } nodes { name: "x" kind: "off" } nodes { name: "b" count: 3 kind: "one" }
controller { time_out: "200ms" gap: "5ms"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
})",
        1);
    CAPTURE(error);
    INFO(told(explanation));
    const auto first = first_ones(explanation);
    CHECK(names(first, M::clock));
    // Where every frame dies, a pulse that is too short or too long would do as well.
    CHECK(std::all_of(first.begin(), first.end(), [](M each) { return each == M::clock || each == M::pulse_width; }));
    REQUIRE_FALSE(explanation.cases.empty());
    // Into x or out of it, and no further on, where damage is handed on.
    for (const auto& finding : explanation.cases) {
      for (const auto link : finding.which.links) {
        const bool beside = link == 3 || link == 4;
        CHECK(beside);
      }
    }
  }
}

TEST_CASE("a supply that breaks down and a watchdog are told apart by the supply, also with several cells") {
  for (std::uint64_t seed = 1; seed <= 2; ++seed) {
    CAPTURE(seed);
    const auto supply =
        explain_with_rules(weak_battery(R"(supply { current: "10mA" brown_out: "12.8V" brown_in: "12.9V" })"), seed);
    {
      INFO(told(supply));
      CHECK(first_ones(supply) == std::vector{M::supply});
    }
    const auto watchdog = explain_with_rules(
        weak_battery(
            R"(supply { current: "10mA" } processor { watchdog: "200ms" duty { name: "store" every: "20s" takes: "10ms" takes_up_to: "240ms" jitter: "5s" } })"),
        seed);
    INFO(told(watchdog));
    CHECK(first_ones(watchdog) == std::vector{M::watchdog});
  }
}
