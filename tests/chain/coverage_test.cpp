// Random scenarios reach every symptom and outcome and nearly every cause; what holds of each record holds of all of
// them.
#include <iostream>
#include <map>
#include <set>

#include "base/luck.h"
#include "chain/chain.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"

namespace hopbench {
namespace {

Collector run(const RandomScenario& scenario, std::uint64_t exchanges) {
  const Protocol protocol(scenario.bus);
  Collector kept;
  Chain chain(protocol, scenario.chain, 7, Way::events, Seat::simulated, kept);
  REQUIRE(chain.run_exchanges(exchanges));
  chain.finish({});
  return kept;
}

void require_sound(const ControllerSpec& controller, const Collector& kept, const KeptExchange& e) {
  INFO(describe(e));
  REQUIRE_FALSE(e.attempts.empty());
  REQUIRE(e.attempt_truths.size() == e.attempts.size());
  REQUIRE(e.seen.start == e.attempts.front().start);
  REQUIRE(e.seen.start <= e.seen.decided);
  REQUIRE(e.seen.decided <= e.seen.closed);
  for (std::size_t i = 0; i < e.attempts.size(); ++i) {
    REQUIRE((e.attempts[i].outcome == Outcome::answered) == (e.attempt_truths[i].cause == Cause::none));
    if (i > 0) REQUIRE(e.attempts[i].start >= e.attempts[i - 1].ask_end);
  }
  for (std::size_t i = 0; i < e.rows.size(); ++i) {
    const HopRow& row = e.rows[i];
    REQUIRE(row.link < kept.info.links.size());
    REQUIRE(row.start < row.end);
    REQUIRE(row.attempt < e.attempts.size());
    if (i > 0) REQUIRE(e.rows[i - 1].start <= row.start);
  }
  std::set<std::uint32_t> explained;
  for (const RowTruth& truth : e.row_truths) {
    REQUIRE(truth.row < e.rows.size());
    REQUIRE(truth.cause != Cause::none);
    explained.insert(truth.row);
  }
  // Whatever is damaged has a reason, and so has every try that came to nothing.
  for (std::uint32_t i = 0; i < e.rows.size(); ++i) {
    if (e.rows[i].symptom != Symptom::none) CHECK(explained.count(i) == 1);
  }
  // (Not those that were still waiting when another try was answered, or when the record was closed before its time.)
  if (controller.late_window > 0 || e.seen.closed == kept.ended) return;
  for (std::size_t i = 0; i < e.attempts.size(); ++i) {
    const bool waited_in_vain = e.attempts[i].ask_end + controller.time_out <= e.seen.decided;
    if (e.attempts[i].outcome != Outcome::answered && waited_in_vain) CHECK(e.attempt_truths[i].cause != Cause::none);
  }
}

}  // namespace

TEST_CASE("random scenarios reach nearly every mechanism, and all that goes wrong in them has a reason") {
  std::set<Symptom> symptoms;
  std::set<Outcome> outcomes;
  std::map<Cause, std::size_t> causes;
  for (std::uint64_t i = 0; i <= 1'000; ++i) {
    const bool physical = i > 400;
    const std::uint64_t number = physical ? i - 401 : i;
    INFO((physical ? "physical " : "") << "scenario " << number);
    const RandomScenario scenario = physical ? physical_scenario(number) : random_scenario(number);
    const Collector kept = run(scenario, 60);
    for (const KeptExchange& each : kept.exchanges) {
      require_sound(scenario.chain.controller, kept, each);
      outcomes.insert(each.seen.outcome);
      for (const HopRow& row : each.rows) symptoms.insert(row.symptom);
      for (const AttemptTruth& truth : each.attempt_truths) ++causes[truth.cause];
      for (const RowTruth& truth : each.row_truths) ++causes[truth.cause];
    }
  }
  // What they do not reach: overrun and its cause (tested in node_limits_test.cpp), and too_long
  // (framing_test.cpp).
  for (std::size_t i = 0; i < symptom_count; ++i) {
    const auto symptom = static_cast<Symptom>(i);
    if (symptom == Symptom::too_long || symptom == Symptom::overrun) continue;
    INFO(name_of(symptom));
    CHECK(symptoms.count(symptom) == 1);
  }
  for (std::size_t i = 0; i < outcome_count; ++i) {
    const auto outcome = static_cast<Outcome>(i);
    // A real controller's (outside_test.cpp); and answers with too few values (wild_rules_test.cpp).
    if (outcome == Outcome::bad_ask || outcome == Outcome::truncated) continue;
    INFO(name_of(outcome));
    CHECK(outcomes.count(outcome) == 1);
  }
  for (unsigned i = 0; i <= static_cast<unsigned>(Cause::line_held); ++i) {
    const auto cause = static_cast<Cause>(i);
    if (name_of(cause).starts_with("unknown")) continue;  // a number that stands for nothing
    // In them only damage uses passes up, and then the damage is the cause (controller_test.cpp has the other).
    if (cause == Cause::fifo_overrun || cause == Cause::passes_used_up) continue;
    INFO(name_of(cause));
    CHECK(causes[cause] > 0);
  }
}

// Printed so that runs of other compilers and machines can be compared; it is no expected value.
TEST_CASE("records of fixed scenarios give the same digest twice") {
  const auto digest = [] {
    std::uint64_t hash = name_hash("");
    for (std::uint64_t number = 1'000; number < 1'020; ++number) {
      const Collector kept = run(random_scenario(number), 40);
      for (const KeptExchange& each : kept.exchanges) hash = name_hash(describe(each), hash);
      for (const std::string& stray : kept.strays) hash = name_hash(stray, hash);
    }
    return hash;
  };
  const std::uint64_t first = digest();
  CHECK(digest() == first);
  std::cout << "digest of 20 scenarios: " << std::hex << first << std::dec << "\n";
}

}  // namespace hopbench
