// The designs of captures/designs.txtpb, each with one mistake: what brings it out, beside the design without one,
// which comes through the same unharmed. And the chain that they are to join loses nothing.
#include <algorithm>
#include <functional>
#include <map>
#include <set>
#include <string>

#include "chain/chain.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/shipped.h"

namespace hopbench {
namespace {

std::size_t kind_named(const ChainDescription& chain, const std::string& name) {
  const auto found =
      std::find_if(chain.kinds.begin(), chain.kinds.end(), [&](const KindSpec& kind) { return kind.name == name; });
  REQUIRE(found != chain.kinds.end());
  return static_cast<std::size_t>(found - chain.kinds.begin());
}

/// Tries that failed, by cause. What a reset node loses while it starts does not count.
std::map<Cause, std::size_t> failures(const Scenario& scenario) {
  const Protocol protocol(scenario.bus);
  Collector kept;
  Chain chain(protocol, scenario.chain, scenario.chain.seed, Way::events, Seat::simulated, kept);
  REQUIRE(chain.run_until(scenario.chain.run_for));
  chain.finish({});
  std::map<Cause, std::size_t> count;
  for (const KeptExchange& each : kept.exchanges) {
    for (std::size_t i = 0; i < each.attempts.size(); ++i) {
      if (each.attempts[i].outcome == Outcome::answered) continue;
      const Cause cause = each.attempt_truths[i].cause;
      if (cause != Cause::node_off) ++count[cause];
    }
  }
  if (!kept.strays.empty()) count[Cause::none] += kept.strays.size();
  return count;
}

struct Trial {
  const char* kind;
  Cause cause;  // none: of a stray
  std::function<void(Scenario&)> brings_out = [](Scenario&) {};
};

void bleed_all(Scenario& scenario) {
  ControllerSpec& controller = scenario.chain.controller;
  controller.balancing = {};
  PlanEntry bleed;
  bleed.name = "bleed/n1";
  bleed.topic = "bleed";
  bleed.node = 2;
  bleed.arguments = {{"cells", 0xffff}};
  controller.plan.push_back(bleed);
}

/// n1 comes first.
void at_position_1(Scenario& scenario) {
  std::rotate(scenario.chain.nodes.begin(), scenario.chain.nodes.begin() + 2, scenario.chain.nodes.begin() + 3);
  for (PlanEntry& entry : scenario.chain.controller.plan) {
    if (entry.node <= 2) entry.node = static_cast<std::uint16_t>((entry.node + 1) % 3);
  }
}

void reset_n1(Scenario& scenario) {
  FaultSpec reset;
  reset.name = "reset";
  reset.kind = FaultClass::reset;
  reset.nodes = {2};
  reset.at = {60 * second};
  scenario.chain.faults = {reset};
  scenario.chain.controller.enrol.again_after = 0;
}

/// With all of its cells asked for.
void another_board_at_a1(Scenario& scenario) {
  scenario.chain.nodes[0].kind = kind_named(scenario.chain, "block");
  for (PlanEntry& entry : scenario.chain.controller.plan) {
    if (entry.node == 0 && entry.topic == "readings") entry.arguments = {{"first", 0}, {"count", 16}};
  }
}

void hot_air(Scenario& scenario) {
  scenario.chain.pack.air.mean_mc = 45'000;
  scenario.chain.pack.air.swing_mc = 0;
}

void values_that_move(Scenario& scenario) {
  for (KindSpec& kind : scenario.chain.kinds) {
    kind.levels.swing_uv = 500'000;
    kind.levels.swing_period = 600 * second;
  }
}

void damage_before_n1(Scenario& scenario) {
  FaultSpec hit;
  hit.name = "hit";
  hit.kind = FaultClass::corruption;
  hit.links = {2};
  hit.rate = certain / 4;
  scenario.chain.faults = {hit};
  scenario.chain.controller.retries = 5;
}

}  // namespace

TEST_CASE("the chain that a new design is to join loses nothing", "[designs]") {
  Scenario scenario = shipped_scenario("old-and-new");
  scenario.chain.run_for = 3600 * second;
  CHECK(failures(scenario).empty());
}

TEST_CASE("each design of designs.txtpb is found out by what its comment says, and the one without a mistake is not",
          "[designs]") {
  const std::vector<Trial> trials{
      {"block_short_buffer", Cause::short_buffer, another_board_at_a1},
      {"block_late_bleeding", Cause::busy_node,
       [](Scenario& of) {
         bleed_all(of);
         at_position_1(of);
         of.chain.controller.pace = 437 * millisecond;
         of.chain.run_for = 1800 * second;
       }},
      {"block_sleeps", Cause::asleep},
      {"block_hot_clock", Cause::clock, hot_air},
      {"block_forgets_address", Cause::no_address, reset_n1},
      {"block_silent", Cause::unknown_topic},
      {"block_answers_broadcast", Cause::none},
      {"block_forgets_topic", Cause::design_flaw},
      {"block_repeats_number", Cause::design_flaw},
      {"block_number_wraps", Cause::design_flaw},
      {"block_address_bit", Cause::design_flaw, [](Scenario& of) { of.chain.nodes[2].address = 130; }},
      {"block_stale", Cause::design_flaw, values_that_move},
      {"block_remakes_checks", Cause::design_flaw, damage_before_n1},
      {"block_off_by_one", Cause::design_flaw},
      {"block_counts_wrong", Cause::design_flaw},
      {"block_answers_unknown", Cause::design_flaw},
      {"block_hangs", Cause::design_flaw,
       [](Scenario& of) { of.chain.kinds[kind_named(of.chain, "block_hangs")].flaw.value = 15; }},
  };
  // The rest needs another revision, or orders told apart: tests/chain/flaws_test.cpp.
  std::set<std::string> tried{"block", "solo1", "solo2", "block_clears_reserved", "block_acts_twice"};
  for (const Trial& trial : trials) {
    INFO(trial.kind);
    tried.insert(trial.kind);
    Scenario scenario = shipped_scenario("designs");
    scenario.chain.run_for = 240 * second;
    trial.brings_out(scenario);
    const auto node = std::find_if(scenario.chain.nodes.begin(), scenario.chain.nodes.end(),
                                   [](const NodeSpec& each) { return each.name == "n1"; });
    const auto sound = failures(scenario);
    node->kind = kind_named(scenario.chain, trial.kind);
    const auto flawed = failures(scenario);
    CHECK(flawed.contains(trial.cause));
    CHECK_FALSE(sound.contains(trial.cause));
  }
  for (const KindSpec& kind : shipped_scenario("designs").chain.kinds) {
    INFO(kind.name);
    CHECK(tried.contains(kind.name));
  }
  CHECK(failures(shipped_scenario("designs")).empty());
}

}  // namespace hopbench
