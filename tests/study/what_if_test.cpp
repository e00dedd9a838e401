#include "study/what_if.h"

#include <algorithm>
#include <atomic>
#include <set>

#include "chain/chain.h"
#include "scenario/without.h"
#include "scenarios.h"
#include "support/collector.h"
#include "support/scenario_text.h"

namespace hopbench {
namespace {

using study_tests::loaded;
using study_tests::six_nodes;

const std::function<bool()> never_stop = [] { return false; };

WhatIf study(const std::string& text, unsigned threads, bool shares = false, Nanos span = 1200 * second) {
  const Scenario scenario = loaded(text);
  const Protocol protocol(scenario.bus);
  WhatIfPlan plan;
  plan.seed = scenario.chain.seed;
  plan.bound.span = span;
  plan.threads = threads;
  plan.shares = shares;
  return what_if(protocol, scenario.chain, plan, never_stop, {});
}

const MechanismFinding& of(const WhatIf& found, Mechanism mechanism) {
  const auto at = std::find_if(found.mechanisms.begin(), found.mechanisms.end(),
                               [&](const auto& each) { return each.mechanism == mechanism; });
  REQUIRE(at != found.mechanisms.end());
  return *at;
}

Collector records(const Scenario& scenario, const ChainDescription& description) {
  const Protocol protocol(scenario.bus);
  Collector kept;
  Chain chain(protocol, description, scenario.chain.seed, Way::events, Seat::simulated, kept);
  REQUIRE(chain.run_until(1200 * second));
  chain.finish({});
  return kept;
}

std::string replaced(std::string text, const std::string& what, const std::string& with) {
  const auto at = text.find(what);
  REQUIRE(at != std::string::npos);
  return text.replace(at, what.size(), with);
}

}  // namespace

TEST_CASE("failures that go without a mechanism are those of its cause, but for what fails anyhow") {
  const Scenario scenario = loaded(six_nodes);
  const Collector as_is = records(scenario, scenario.chain);
  const Collector off = records(scenario, without(scenario.chain, Mechanism::injected));
  std::set<std::pair<std::string, std::uint64_t>> fails_anyhow;
  for (const auto& exchange : off.exchanges) {
    if (exchange.seen.outcome != Outcome::answered)
      fails_anyhow.emplace(off.info.entries.at(exchange.seen.entry).name, exchange.seen.turn);
  }
  std::size_t injected = 0;
  for (const auto& exchange : as_is.exchanges) {
    if (exchange.seen.outcome == Outcome::answered) continue;
    if (mechanism_of(exchange.attempt_truths.back().cause) != Mechanism::injected) continue;
    injected += fails_anyhow.contains({as_is.info.entries.at(exchange.seen.entry).name, exchange.seen.turn}) ? 0U : 1U;
  }
  const WhatIf found = study(six_nodes, 1);
  REQUIRE(injected > 5);
  const auto& finding = of(found, Mechanism::injected);
  CHECK(finding.off.gone == injected);
  CHECK(finding.off.come == 0);
  CHECK(finding.off.failed == found.failed - injected);
  CHECK(finding.off.in_step == found.asked);
}

TEST_CASE("a paced chain comes apart into its mechanisms without a rest") {
  const WhatIf found = study(six_nodes, 1);
  REQUIRE(found.end == RunEnd::done);
  REQUIRE(found.failed > 20);
  CHECK(found.none_failed == 0);
  std::uint64_t gone = 0;
  for (const Mechanism each : {Mechanism::bit_noise, Mechanism::contact, Mechanism::injected}) {
    INFO(name_of(each));
    CHECK(of(found, each).off.gone > 0);
    CHECK(of(found, each).off.come == 0);
    gone += of(found, each).off.gone;
  }
  // What several of them would each have killed is in none of these, but in `either`.
  CHECK(gone <= found.failed);
  CHECK(gone + found.either == found.failed);
}

TEST_CASE("a mechanism that the scenario does not have is not looked at, one that does nothing changes nothing") {
  const WhatIf found = study(six_nodes, 1);
  for (const auto& each : found.mechanisms) {
    CHECK(has_mechanism(loaded(six_nodes).chain, each.mechanism));
    CHECK(each.mechanism != Mechanism::bursts);
  }
  const auto& clock = of(found, Mechanism::clock);
  CHECK(clock.off.gone == 0);
  CHECK(clock.only.failed == 0);
}

TEST_CASE("the result does not depend on the number of threads") {
  std::vector<std::string> texts{six_nodes};
  for (std::uint64_t number = 0; number < 8; ++number) texts.push_back(scenario_text(number));
  std::uint64_t failed = 0;
  for (const std::string& text : texts) {
    INFO(text);
    const bool few = mechanisms_of(loaded(text).chain).size() <= 5;
    const WhatIf one = study(text, 1, few, 30 * second);
    const WhatIf four = study(text, 4, few, 30 * second);
    REQUIRE(one.end == RunEnd::done);
    REQUIRE(four.end == RunEnd::done);
    failed += one.failed;
    CHECK(one.runs == four.runs);
    CHECK(one.failed == four.failed);
    CHECK(one.either == four.either);
    CHECK(one.together.size() == four.together.size());
    REQUIRE(one.mechanisms.size() == four.mechanisms.size());
    for (std::size_t i = 0; i < one.mechanisms.size(); ++i) {
      const auto& a = one.mechanisms[i];
      const auto& b = four.mechanisms[i];
      CHECK(a.mechanism == b.mechanism);
      CHECK(a.off.failed == b.off.failed);
      CHECK(a.off.gone == b.off.gone);
      CHECK(a.only.stayed == b.only.stayed);
      CHECK(a.not_alone == b.not_alone);
      CHECK(a.share == b.share);
    }
  }
  CHECK(failed > 200);
}

TEST_CASE("a study tells how many of its runs are done") {
  const Scenario scenario = loaded(six_nodes);
  const Protocol protocol(scenario.bus);
  WhatIfPlan plan;
  plan.bound.exchanges = 1000;
  plan.threads = 2;
  std::pair<std::size_t, std::size_t> last;
  const WhatIf found = what_if(protocol, scenario.chain, plan, never_stop, [&](std::size_t done, std::size_t runs) {
    last = {done, runs};
  });
  CHECK(last == std::pair<std::size_t, std::size_t>(found.runs, found.runs));
  CHECK(found.runs > 2);
}

TEST_CASE("a study that is stopped in the middle says so, whatever was asked by then") {
  const Scenario scenario = loaded(six_nodes);
  const Protocol protocol(scenario.bus);
  WhatIfPlan plan;
  plan.bound.exchanges = 20'000;
  for (const unsigned threads : {1U, 3U}) {
    plan.threads = threads;
    for (int asked = 0; asked < 20; asked += 3) {
      std::atomic<int> left = asked;
      const WhatIf found = what_if(protocol, scenario.chain, plan, [&] { return --left < 0; }, {});
      CHECK(found.end == RunEnd::stopped);
    }
  }
}

TEST_CASE("shares add up to the failures that the mechanisms bring") {
  // Shapley (1953): efficiency. And a mechanism that adds nothing to any set has no share.
  const WhatIf found = study(six_nodes, 2, true, 600 * second);
  double sum = 0;
  for (const auto& each : found.mechanisms) {
    REQUIRE(each.share);
    sum += *each.share;
  }
  const double rate = static_cast<double>(found.failed) / static_cast<double>(found.asked);
  const double none = static_cast<double>(found.none_failed) / static_cast<double>(found.none_asked);
  CHECK(sum == Approx((rate - none) / rate).epsilon(1e-9));
  CHECK(*of(found, Mechanism::clock).share == Approx(0).margin(1e-12));
}

TEST_CASE("two mechanisms that fail only together are told as such") {
  // An answer takes 60 ms for the measurement and, one time in twenty, 60 ms for the fault: either is within the
  // time-out of 100 ms, both are not.
  std::string text = replaced(six_nodes, "snapshot: \"2ms\"", "snapshot: \"60ms\"");
  text = replaced(text, "class: LOSS nodes: \"n2\" leg: ANSWERS rate: \"2%\"",
                  "class: DELAY nodes: \"n2\" leg: ANSWERS into: \"controller\" rate: \"5%\" by: \"60ms\"");
  text = replaced(text, "bit_error: \"2e-5\"", "bit_error: \"0\"");
  text = replaced(text, "contact { mean_between: \"30s\" mean_open: \"200ms\" }", "isolator_delay: \"2us\"");
  const WhatIf found = study(text, 2);
  REQUIRE(found.failed > 10);
  REQUIRE(found.together.size() == 1);
  CHECK(found.together[0].one == Mechanism::measurement);
  CHECK(found.together[0].other == Mechanism::injected);
  CHECK(found.together[0].failures == found.failed);
  CHECK(of(found, Mechanism::measurement).not_alone == found.failed);
}

TEST_CASE("a chain that goes straight on after a time-out is not taken for one in step") {
  const WhatIf found = study(replaced(six_nodes, "pace: \"200ms\"", "gap: \"1ms\""), 2);
  REQUIRE(found.failed > 20);
  CHECK_FALSE(of(found, Mechanism::injected).off.pairs(found.asked));
  CHECK(of(found, Mechanism::injected).off.failed < found.failed);
}

TEST_CASE("without a pace turns are paired, and what hangs on the turn is told to the last one") {
  // Noise and faults hang on the turn. Nothing else fails here, so what goes without one of them is what it brings.
  std::string text =
      replaced(six_nodes, "contact { mean_between: \"30s\" mean_open: \"200ms\" }", "isolator_delay: \"2us\"");
  const WhatIf paced = study(text, 2);
  text = replaced(text, "pace: \"200ms\"", "gap: \"1ms\"");
  const WhatIf found = study(text, 2);
  REQUIRE(found.failed > 50);
  for (const Mechanism each : {Mechanism::injected, Mechanism::bit_noise}) {
    INFO(name_of(each));
    CHECK(of(paced, each).off.pairs(paced.asked));
    const auto& off = of(found, each).off;
    CHECK_FALSE(off.pairs(found.asked));
    CHECK(off.by_turn.paired > found.asked * 9 / 10);
    CHECK(off.by_turn.gone > 5);
    CHECK(off.by_turn.come == 0);
    CHECK(off.by_turn.gone + off.by_turn.stayed <= found.failed);
    CHECK(of(found, each).bearing == Bearing::changes);
    // Where runs are in step, turns and instants pair the same.
    const auto& in_step = of(paced, each).off;
    CHECK(in_step.by_turn.gone == in_step.gone);
    CHECK(in_step.by_turn.come == in_step.come);
  }
}

TEST_CASE("a mechanism that fails nothing and only shifts times is told so, one that fails something never is") {
  // Seeds one after the other: contacts strike other turns without the measurement, as many as before but for chance.
  std::string text = replaced(six_nodes, "pace: \"200ms\"", "gap: \"1ms\"");
  const Scenario scenario = loaded(text);
  const Protocol protocol(scenario.bus);
  int innocents = 0;
  int cleared = 0;
  int studies = 0;
  for (std::uint64_t seed = 1; seed <= 30; ++seed) {
    WhatIfPlan plan;
    plan.seed = seed;
    plan.bound.span = 1200 * second;
    plan.threads = 2;
    const WhatIf found = what_if(protocol, scenario.chain, plan, never_stop, {});
    ++studies;
    for (const auto& each : found.mechanisms) {
      INFO("seed " << seed << " " << name_of(each.mechanism));
      const bool guilty = each.mechanism == Mechanism::bit_noise || each.mechanism == Mechanism::contact ||
                          each.mechanism == Mechanism::injected;
      CHECK((each.only.failed > 0) == guilty);
      if (guilty) {
        CHECK(each.bearing == Bearing::changes);
        continue;
      }
      ++innocents;
      if (each.bearing == Bearing::only_shifts_times || each.bearing == Bearing::none) ++cleared;
    }
  }
  INFO(cleared << " of " << innocents << " in " << studies);
  CHECK(innocents >= 30);
  CHECK(cleared >= innocents * 9 / 10);
}

TEST_CASE("two mechanisms that fail only together are no innocents, in step or not") {
  std::string text = replaced(six_nodes, "snapshot: \"2ms\"", "snapshot: \"60ms\"");
  text = replaced(text, "class: LOSS nodes: \"n2\" leg: ANSWERS rate: \"2%\"",
                  "class: DELAY nodes: \"n2\" leg: ANSWERS into: \"controller\" rate: \"5%\" by: \"60ms\"");
  text = replaced(text, "pace: \"200ms\"", "gap: \"1ms\"");
  const WhatIf found = study(text, 2);
  for (const Mechanism each : {Mechanism::measurement, Mechanism::injected}) {
    INFO(name_of(each));
    CHECK(of(found, each).only.failed == 0);
    CHECK(of(found, each).bearing == Bearing::changes);
  }
}

TEST_CASE("a study that is stopped says so") {
  const Scenario scenario = loaded(six_nodes);
  const Protocol protocol(scenario.bus);
  WhatIfPlan plan;
  plan.bound.exchanges = 1'000'000;
  plan.threads = 3;
  CHECK(what_if(protocol, scenario.chain, plan, [] { return true; }, {}).end == RunEnd::stopped);
}

TEST_CASE("memory is bounded: a run with too many failures ends, and one that only counts goes on") {
  const Scenario scenario = loaded(replaced(six_nodes, "nodes: \"n2\" leg: ANSWERS rate: \"2%\"", "rate: \"1\""));
  const Protocol protocol(scenario.bus);
  const RunBound bound{0, most_failures_kept + 1'000};
  const auto kept = failures_of(protocol, scenario.chain, 1, bound, second, Keep::identities, {}, never_stop);
  CHECK(kept.end == RunEnd::too_many_failures);
  CHECK(kept.failed == most_failures_kept + 1);
  const auto counted = failures_of(protocol, scenario.chain, 1, bound, second, Keep::totals, {}, never_stop);
  CHECK(counted.end == RunEnd::done);
  CHECK(counted.failed == most_failures_kept + 1'000);
  CHECK(counted.entries.empty());
}

}  // namespace hopbench
