#include "study/shrink.h"

#include <algorithm>
#include <atomic>

#include "chain/chain.h"
#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "scenarios.h"
#include "study/shrink_units.h"
#include "support/scenario_text.h"

namespace hopbench {
namespace {

using study_tests::loaded;
using study_tests::six_nodes;

const std::function<bool()> never_stop = [] { return false; };

Property property(const std::string& text) { return std::get<Property>(Property::parse(text)); }

/// Whether the scenario as written, run as long as it says, has the property.
bool does_it(const std::string& text, const std::string& what) {
  std::vector<Problem> problems;
  const auto scenario = load_scenario({"test", text}, buses_beside("test"), problems);
  if (!scenario) return false;
  const Protocol protocol(scenario->bus);
  MeasureFold fold;
  CauseFold causes;
  FanOut all{&fold, &causes};
  Chain chain(protocol, scenario->chain, scenario->chain.seed, Way::events, Seat::simulated, all);
  if (!chain.run_until(scenario->chain.start.at + scenario->chain.run_for)) return false;
  chain.finish({});
  return property(what).holds({&fold.run(), &fold.measures(), &causes.counts()});
}

Shrunk shrunk(const std::string& text, const std::string& what, unsigned threads = 1) {
  const Scenario scenario = loaded(text);
  return shrink(scenario, {scenario.chain.seed, scenario.chain.run_for, threads, property(what), {}}, never_stop, {});
}

}  // namespace

TEST_CASE("the smallest list is found, and nothing more can be left out of it") {
  const auto smallest_for = [](std::size_t size, const std::function<bool(const Marks&)>& holds) {
    const FirstThatHolds first = [&](const std::vector<Marks>& candidates) -> std::optional<std::size_t> {
      const auto found = std::find_if(candidates.begin(), candidates.end(), holds);
      if (found == candidates.end()) return std::nullopt;
      return static_cast<std::size_t>(found - candidates.begin());
    };
    return smallest(size, first, never_stop);
  };
  // The example of Zeller and Hildebrandt (2002), section 3.2: of eight changes 1, 7 and 8 make it fail together.
  const auto needs = [](const Marks& kept) { return kept[0] && kept[6] && kept[7]; };
  CHECK(smallest_for(8, needs) == Marks{true, false, false, false, false, false, true, true});
  const auto any = [](const Marks&) { return true; };
  CHECK(smallest_for(5, any) == Marks(5, false));
  CHECK(smallest_for(0, any).empty());
  const auto all = [](const Marks& kept) { return std::count(kept.begin(), kept.end(), false) == 0; };
  CHECK(smallest_for(7, all) == Marks(7, true));
  const auto odd = [](const Marks& kept) { return std::count(kept.begin(), kept.end(), true) % 2 == 1 && kept[3]; };
  CHECK(odd(smallest_for(9, odd)));
}

TEST_CASE("a shrunk scenario still does it, and nothing more can be left out") {
  for (const std::string what : {"lost > 0 at n2", "cause contact > 2", "check_failures > 1 into n5",
                                 "lost > 0 and check_failures > 0", "unseen > 1s at n3"}) {
    INFO(what);
    const Shrunk result = shrunk(six_nodes, what);
    REQUIRE(result.end == Shrunk::End::done);
    CHECK(does_it(result.text, what));
    CHECK(result.run_for < 1200 * second);
    CHECK(result.removed.size() > result.kept.size());
    const Scenario small = loaded(result.text);
    const ShrinkUnits units(small, small.chain.seed);
    // All that is left in it was looked at: it is written down again as it is.
    REQUIRE(units.text(std::vector<bool>(units.size(), true), result.run_for) == result.text);
    for (std::size_t i = 0; i < units.size(); ++i) {
      std::vector<bool> less(units.size(), true);
      less[i] = false;
      INFO("without " << units.name(i));
      CHECK_FALSE(does_it(units.text(less, result.run_for), what));
    }
  }
}

TEST_CASE("what takes long to come about begins shortly before it, from a state that is stated") {
  // A clock of 20 bits of a millisecond goes round after 1048.576 s; cells are full enough to be bled in the second
  // half of the charge only.
  const std::string slow = R"(
name: "slow" seed: 5 run_for: "40min" bus: "bench-frame"
battery { capacity: "10Ah" charge: "60%" charge_spread: "2%" leakage: "2mA" }
cycle { period: "2h" charge: "20A" charge_from: "0s" charge_for: "1h" absorb: "3.55V" done: "100mA" }
kind { name: "plain" cells: 2 bleed { resistor: "33ohm" } }
nodes { name: "n" count: 4 kind: "plain" }
controller {
  time_out: "100ms" pace: "105ms"
  clock_wrap { bits: 20 tick: "1ms" }
  balancing { every: "10s" start: "3.40V" difference: "4mV" }
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
}
fault { name: "hot" class: LOSS rate: "1%" while_balancing: 2 }
)";
  for (const std::string what : {"cause clock_wrap > 0", "lost > 3"}) {
    INFO(what);
    const Shrunk result = shrunk(slow, what);
    REQUIRE(result.end == Shrunk::End::done);
    CHECK(result.run_for < 200 * second);
    CHECK(does_it(result.text, what));
    CHECK(result.text.find("begins {") != std::string::npos);
    const Scenario small = loaded(result.text);
    const ShrinkUnits units(small, small.chain.seed);
    for (std::size_t i = 0; i < units.size(); ++i) {
      std::vector<bool> less(units.size(), true);
      less[i] = false;
      INFO("without " << units.name(i));
      CHECK_FALSE(does_it(units.text(less, result.run_for), what));
    }
  }
}

TEST_CASE("what has nothing to do with it goes") {
  const Shrunk result = shrunk(six_nodes, "cause injected_loss > 0");
  const Scenario small = loaded(result.text);
  REQUIRE(small.chain.nodes.size() == 1);
  CHECK(small.chain.nodes[0].name == "n2");
  CHECK(small.chain.nodes[0].address == 2);
  CHECK(small.chain.faults.size() == 1);
  for (const LinkSpec& link : small.chain.links) {
    CHECK(link.bit_error == 0);
    CHECK(link.contact.mean_between == 0);
  }
}

TEST_CASE("a scenario taken apart and written down says the same") {
  const Scenario scenario = loaded(six_nodes);
  const ShrinkUnits units(scenario, 5);
  const Scenario again = loaded(units.text(std::vector<bool>(units.size(), true), scenario.chain.run_for));
  REQUIRE(again.chain.nodes.size() == 6);
  for (std::size_t i = 0; i < 6; ++i) {
    CHECK(again.chain.nodes[i].name == scenario.chain.nodes[i].name);
    CHECK(again.chain.nodes[i].address == scenario.chain.nodes[i].address);
  }
  for (std::size_t i = 0; i < scenario.chain.links.size(); ++i) {
    CHECK(again.chain.links[i].bit_error == scenario.chain.links[i].bit_error);
    CHECK(again.chain.links[i].contact.mean_between == scenario.chain.links[i].contact.mean_between);
  }
  CHECK(again.chain.controller.plan.size() == scenario.chain.controller.plan.size());
}

TEST_CASE("whatever is left out of a scenario, what is written is a text that loads or is refused") {
  const Scenario scenario = loaded(six_nodes);
  const ShrinkUnits units(scenario, 5);
  std::size_t good = 0;
  for (std::size_t i = 0; i < units.size(); ++i) {
    for (std::size_t j = i; j < units.size(); ++j) {
      std::vector<bool> kept(units.size(), true);
      kept[i] = kept[j] = false;
      std::vector<Problem> problems;
      const auto made = load_scenario({"test", units.text(kept, second)}, buses_beside("test"), problems);
      CHECK(made.has_value() == problems.empty());
      good += made ? 1U : 0U;
    }
  }
  CHECK(good > units.size());
}

TEST_CASE("a property that does not hold, does not fit, or cannot be named") {
  CHECK(shrunk(six_nodes, "refused > 0").end == Shrunk::End::never_held);
  CHECK(shrunk(six_nodes, "lost > 0 at n9").end == Shrunk::End::misfit);
  CHECK(shrunk(six_nodes, "check > 0 on hop 9").why == "there is no hop 9");
  // Both ways of a line's hop lead to other stations.
  CHECK(shrunk("shape: LINE " + std::string(six_nodes), "check > 0 on hop 2").end == Shrunk::End::cannot_name);
}

TEST_CASE("a shrink that is stopped keeps the best so far") {
  const Scenario scenario = loaded(six_nodes);
  const std::string what = "lost > 0 at n2";
  for (const unsigned threads : {1U, 4U}) {
    std::atomic<int> left = 64 * 12;  // asked before each run, and once for each slice of it
    const auto stop = [&] { return --left < 0; };
    const Shrunk result = shrink(scenario, {5, scenario.chain.run_for, threads, property(what), {}}, stop, {});
    CHECK(result.end == Shrunk::End::stopped);
    CHECK(does_it(result.text, what));
  }
}

TEST_CASE("wherever a shrink is stopped, what it hands over does it") {
  const Scenario scenario = loaded(six_nodes);
  const std::string what = "check_failures > 1 into n5";
  for (int asked = 1; asked < 1500; asked += 97) {
    INFO(asked);
    std::atomic<int> left = asked;
    const auto stop = [&] { return --left < 0; };
    const Shrunk result = shrink(scenario, {5, scenario.chain.run_for, 3, property(what), {}}, stop, {});
    CHECK(result.end == Shrunk::End::stopped);
    CHECK((result.text.empty() || does_it(result.text, what)));
  }
}

TEST_CASE("a shrink gives the same with one thread and with four") {
  std::size_t shrunk_so = 0;
  for (std::uint64_t number = 0; number < 10; ++number) {
    const std::string text = scenario_text(number);
    INFO(text);
    for (const std::string what : {"lost > 0", "late > 0", "check_failures > 1", "tries > 100 and failed > 0"}) {
      INFO(what);
      const Shrunk one = shrunk(text, what, 1);
      const Shrunk four = shrunk(text, what, 4);
      CHECK(one.end == four.end);
      CHECK(one.text == four.text);
      CHECK(one.begins_after == four.begins_after);
      CHECK(one.run_for == four.run_for);
      CHECK(one.exchanges == four.exchanges);
      CHECK(one.runs == four.runs);
      CHECK(one.removed == four.removed);
      CHECK(one.kept == four.kept);
      shrunk_so += one.end == Shrunk::End::done ? 1U : 0U;
    }
  }
  CHECK(shrunk_so > 10);
}

}  // namespace hopbench
