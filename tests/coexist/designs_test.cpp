// New boards with one mistake each: the promise that the mistake is against is broken, in a chain of three nodes at the
// most. The board without a mistake breaks none.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>

#include "coexist/coexist.h"
#include "support/catch.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

const StopAsked never_stop = [] { return false; };

Scenario shipped(const std::string& name) {
  const std::string path = std::string(HOPBENCH_SOURCE_DIR) + "/captures/" + name;
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  std::vector<Problem> problems;
  auto scenario = load_scenario({path, text.str()}, buses_beside(path), problems);
  REQUIRE(scenario);
  return std::move(*scenario);
}

std::size_t kind_of(const ChainDescription& chain, const std::string& name) {
  const auto found =
      std::find_if(chain.kinds.begin(), chain.kinds.end(), [&](const KindSpec& each) { return each.name == name; });
  REQUIRE(found != chain.kinds.end());
  return static_cast<std::size_t>(found - chain.kinds.begin());
}

/// Which promise each mistake of captures/designs.txtpb is against.
const std::map<std::string, PromiseNumber>& against() {
  static const std::map<std::string, PromiseNumber> all{
      {"block_short_buffer", PromiseNumber::room},
      {"block_late_bleeding", PromiseNumber::balancing},
      {"block_sleeps", PromiseNumber::in_time},
      {"block_hot_clock", PromiseNumber::clocks},
      {"block_forgets_address", PromiseNumber::restarts},
      {"block_silent", PromiseNumber::old_controller},
      {"block_answers_broadcast", PromiseNumber::to_everyone},
      {"block_forgets_topic", PromiseNumber::passes_on},
      {"block_repeats_number", PromiseNumber::numbers},
      {"block_number_wraps", PromiseNumber::numbers},
      {"block_address_bit", PromiseNumber::addresses},
      {"block_stale", PromiseNumber::old_controller},
      {"block_clears_reserved", PromiseNumber::passes_on},
      {"block_remakes_checks", PromiseNumber::after_damage},
      {"block_acts_twice", PromiseNumber::to_everyone},
      {"block_off_by_one", PromiseNumber::old_controller},
      {"block_counts_wrong", PromiseNumber::old_controller},
      {"block_answers_unknown", PromiseNumber::old_controller},
      {"block_hangs", PromiseNumber::passes_on},
  };
  return all;
}

}  // namespace

TEST_CASE("coexist: each design with a mistake breaks the promise that it is against, in a short chain") {
  const Scenario scenario = shipped("designs.txtpb");
  const ChainDescription& chain = scenario.chain;
  const Protocol protocol(scenario.bus);
  Workers workers(2);
  std::size_t designs = 0;
  for (const KindSpec& kind : chain.kinds) {
    if (!kind.name.starts_with("block_")) continue;
    INFO(kind.name);
    ++designs;
    REQUIRE(against().contains(kind.name));
    const ChainMaker maker(protocol, chain,
                           {kind_of(chain, kind.name), kind_of(chain, "solo1"), kind_of(chain, "solo2")});
    CHECK(maker.kind(maker.asked_as()).name == kind.name);
    const TrialGround ground{protocol, maker, 14, std::nullopt};
    CoexistPlan plan;
    plan.bounds = {3, 2000, 3};
    plan.promises = {against().at(kind.name)};
    const Coexistence found = coexistence(ground, plan, workers, never_stop, {});
    REQUIRE(found.promises.size() == 1);
    const PromiseFinding& finding = found.promises.front();
    REQUIRE(finding.broken());
    CHECK(found.broken());
    INFO(finding.breach->chain << ": " << finding.breach->sentence);
    CHECK(finding.breach->order.size() <= 3);
    CHECK(has_new(finding.breach->order));
    CHECK_FALSE(finding.old_breach);
    CHECK(finding.breach->sentence.back() == '.');
    // Nothing in it can be left out.
    for (std::size_t gone = 0; gone < finding.breach->order.size(); ++gone) {
      KindOrder less = finding.breach->order;
      less.erase(less.begin() + static_cast<std::ptrdiff_t>(gone));
      if (less.empty() || !has_new(less)) continue;
      CHECK_FALSE(trial_of(finding.breach->promise, ground, less, finding.breach->balancing).breach);
    }
  }
  CHECK(designs == against().size());
  CHECK(designs >= 12);
}

TEST_CASE("coexist: what old nodes break among themselves is not the new kind's doing") {
  Scenario scenario = shipped("designs.txtpb");
  ChainDescription& chain = scenario.chain;
  // Too short for the answer of any other node: 12 bytes around a reading of one cell, which has 6.
  chain.kinds[kind_of(chain, "solo1")].buffer_bytes = 17;
  const Protocol protocol(scenario.bus);
  const ChainMaker maker(protocol, chain, {kind_of(chain, "block"), kind_of(chain, "solo1"), kind_of(chain, "solo2")});
  Workers workers(2);
  const TrialGround ground{protocol, maker, 14, std::nullopt};
  const auto room_of = [&](const KindOrder& order) {
    CoexistPlan plan;
    plan.only = order;
    plan.promises = {PromiseNumber::room};
    return coexistence(ground, plan, workers, never_stop, {}).promises.front();
  };
  // Two old ones alone do it; the new one beside them is innocent, and left out of the smallest chain.
  const PromiseFinding innocent = room_of({2, 1, 0});
  CHECK_FALSE(innocent.broken());
  REQUIRE(innocent.old_breach);
  CHECK_FALSE(has_new(innocent.old_breach->order));
  // Beside a single such node that is in no one's way before, it is the new one's answer that has no room.
  chain.kinds[kind_of(chain, "solo1")].buffer_bytes = 40;
  const ChainMaker longer(protocol, chain, {kind_of(chain, "block"), kind_of(chain, "solo1")});
  CoexistPlan plan;
  plan.only = KindOrder{0, 1};
  plan.promises = {PromiseNumber::room};
  CHECK(coexistence({protocol, longer, 14, std::nullopt}, plan, workers, never_stop, {}).broken());
}

TEST_CASE("coexist: what the controller holds, and how long a cell may go unread, are limits of a chain") {
  Scenario scenario = shipped("old-and-new.txtpb");
  ChainDescription& chain = scenario.chain;
  const Protocol protocol(scenario.bus);
  const std::vector<std::size_t> kinds{kind_of(chain, "block"), kind_of(chain, "solo1")};
  const auto breach = [&](const HoldsSpec& holds, std::optional<Nanos> unread) {
    chain.controller.holds = holds;
    const ChainMaker maker(protocol, chain, kinds);
    return trial_of(PromiseNumber::cost, {protocol, maker, 14, unread}, {1, 0, 1}, false).breach.value_or("");
  };
  CHECK(breach({3, 18, 48}, 60 * second).empty());
  CHECK(breach({2, 0, 0}, {}) == "3 nodes are more than the 2 that the controller holds.");
  CHECK(breach({0, 17, 0}, {}) == "18 cells are more than the 17 that the controller holds.");
  // 12 bytes around the payload, 4 before the cells, 2 for each.
  CHECK(breach({0, 0, 47}, {}) == "The answer to cells/new1 has 48 bytes; the controller holds 47.");
  CHECK_THAT(breach({}, second), Catch::Matchers::EndsWith("the scenario allows 1 s."));
}

TEST_CASE("coexist: the board without a mistake breaks no promise") {
  const Scenario scenario = shipped("old-and-new.txtpb");
  const ChainDescription& chain = scenario.chain;
  const Protocol protocol(scenario.bus);
  const ChainMaker maker(protocol, chain, {kind_of(chain, "block"), kind_of(chain, "solo1"), kind_of(chain, "solo2")});
  CoexistPlan plan;
  plan.bounds = {3, 2000, 6};
  Workers workers(2);
  const Coexistence found = coexistence({protocol, maker, 14, std::nullopt}, plan, workers, never_stop, {});
  REQUIRE(found.promises.size() == promise_count);
  for (const PromiseFinding& finding : found.promises) {
    INFO(promises()[static_cast<std::size_t>(finding.promise)].id);
    CHECK_FALSE(finding.breach);
    CHECK_FALSE(finding.old_breach);
    // All but the last are tried, and the table says in how much.
    CHECK((finding.tried() > 0) == (finding.promise != PromiseNumber::electrical));
    CHECK((finding.counts.chains > 0) == (finding.tried() > 0));
  }
  CHECK_FALSE(found.broken());
}

}  // namespace hopbench
