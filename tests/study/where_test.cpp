// What a controller can tell of the place: steps along a line, and what nodes counted themselves.
#include "study/where.h"

#include <map>

#include "chain/chain.h"
#include "measure/fan_out.h"
#include "study/evidence_fold.h"
#include "study/explanation.h"
#include "support/catch.h"
#include "support/collector.h"
#include "text/scenario.h"

using namespace hopbench;

namespace {

struct Seen {
  Collector all;
  Explanation explanation;
  std::vector<NodeCounters> counters;
};

Seen from_controller(const std::string& text) {
  std::vector<Problem> problems;
  const auto scenario = load_scenario({"where.txtpb", text}, buses_beside("where.txtpb"), problems);
  REQUIRE(scenario);
  Seen seen;
  EvidenceFold fold;
  const Protocol protocol(scenario->bus);
  AtController shut(fold, &protocol);
  Observed door(shut);
  CounterFold counting(protocol);
  Observed counting_door(counting);
  FanOut both{&door, &counting_door, &seen.all};
  Chain chain(protocol, scenario->chain, 1, Way::repeats, Seat::simulated, both);
  REQUIRE(chain.run_until(scenario->chain.run_for));
  chain.finish({});
  seen.counters = counting.counters();
  seen.explanation = explain(fold.evidence(), Reality::simulated, &seen.counters);
  return seen;
}

std::string chain_text(const std::string& shape, const std::string& hops, const std::string& polls) {
  return R"(name: "where" run_for: "1h" bus: "bench-frame" baud: 19200 shape: )" + shape + R"(
kind { name: "single" }
nodes { name: "a" count: 8 kind: "single" }
)" + hops +
         R"(
controller { time_out: "300ms" gap: "5ms"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
)" + polls +
         "}";
}

const std::string counters_asked = R"(poll { name: "health" topic: "line_health" nodes: "*" every: 20 })";

bool says(const std::vector<std::string>& sentences, const std::string& what) {
  for (const auto& sentence : sentences) {
    if (sentence.find(what) != std::string::npos) return true;
  }
  return false;
}

}  // namespace

TEST_CASE("nodes' own counters are those of the damage that they met") {
  const auto seen = from_controller(chain_text("RING", R"(hop { into: "a5" bit_error: "1e-4" })", counters_asked));
  REQUIRE(seen.counters.size() == 8);
  // From the first telling to the last only; what was damaged before and after is not in them.
  const auto damaged = seen.all.count(Symptom::check, 4) + seen.all.count(Symptom::framing, 4);
  CHECK(seen.counters[4].damaged > damaged * 9 / 10);
  CHECK(seen.counters[4].damaged <= damaged);
  CHECK(seen.counters[3].damaged == 0);
  CHECK(seen.counters[4].restarts == 0);
  CHECK(says(seen.explanation.where.sentences, "a5 counted"));
  CHECK_FALSE(says(seen.explanation.where.sentences, "a4 counted"));
}

TEST_CASE("counters that begin anew tell of a restart") {
  const auto seen = from_controller(
      chain_text("RING", R"(fault { name: "r" class: RESET nodes: "a2" at: ["20min", "40min"] })", counters_asked));
  REQUIRE(seen.counters.size() == 8);
  CHECK(seen.counters[1].restarts == 2);
  CHECK(says(seen.explanation.where.sentences, "a2 began anew 2 times"));
}

TEST_CASE("in a line failures from one node on tell between which nodes it is") {
  const auto seen = from_controller(chain_text("LINE", R"(hop { into: "a5" bit_error: "2e-4" })", ""));
  CHECK(seen.explanation.where.hops.empty());
  CHECK(says(seen.explanation.where.sentences, "from a5 on"));
}

TEST_CASE("in a ring without counters the place cannot be told, and what would tell it is said") {
  const auto seen = from_controller(chain_text("RING", R"(hop { into: "a5" bit_error: "1e-4" })", ""));
  CHECK(says(seen.explanation.where.sentences, "cannot be told"));
  CHECK_FALSE(says(seen.explanation.where.sentences, "a5"));
  CHECK(seen.explanation.where.next.text.find("isolated tap") != std::string::npos);
  CHECK(seen.explanation.where.next.near_battery);
}

TEST_CASE("nodes that are asked for their counters need not be asked for them") {
  for (const bool asked : {false, true}) {
    CAPTURE(asked);
    // In a line without a step, and with nothing that a node counts.
    const auto seen = from_controller(
        chain_text("RING", R"(hop { into: "controller" bit_error: "2e-4" })", asked ? counters_asked : ""));
    REQUIRE_FALSE(seen.explanation.cases.empty());
    std::string advice = seen.explanation.where.next.text;
    for (const auto& each : seen.explanation.cases) advice += each.next.text;
    CHECK(advice.find("isolated tap") != std::string::npos);
    CHECK((advice.find("counters") != std::string::npos) == !asked);
  }
}
