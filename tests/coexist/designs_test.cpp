// New boards with one mistake each: the promise that the mistake is against is broken, in a chain of three nodes at the
// most. The board without a mistake breaks none.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <functional>
#include <sstream>

#include "coexist/coexist.h"
#include "support/catch.h"
#include "text/scenario.h"

namespace hopbench {
namespace {

const StopAsked never_stop = [] { return false; };

Scenario old_and_new() {
  const std::string path = std::string(HOPBENCH_SOURCE_DIR) + "/captures/old-and-new.txtpb";
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

struct Design {
  const char* name;
  PromiseNumber against;
  std::function<void(KindSpec&, ChainDescription&)> made_wrong;
};

/// A mistake that KindSpec has a name for.
std::function<void(KindSpec&, ChainDescription&)> flaw(Flaw mistake, std::uint64_t value = 0,
                                                       const std::string& name = "") {
  return [=](KindSpec& kind, ChainDescription&) { kind.flaw = {mistake, name, value, 40 * millisecond}; };
}

const std::vector<Design>& designs() {
  static const std::vector<Design> all{
      {"a buffer one byte short", PromiseNumber::room,
       [](KindSpec& kind, ChainDescription&) { kind.buffer_bytes = 47; }},
      {"answers what everyone is asked", PromiseNumber::to_everyone, flaw(Flaw::answers_broadcast)},
      {"forgets to pass on a topic", PromiseNumber::passes_on, flaw(Flaw::forgets_topic, 0, "line_health")},
      {"answers with the number of the ask before", PromiseNumber::numbers, flaw(Flaw::repeats_number)},
      {"keeps eight bits of exchange numbers", PromiseNumber::numbers, flaw(Flaw::number_bits, 8)},
      {"keeps seven bits of its address", PromiseNumber::addresses, flaw(Flaw::address_bits, 7)},
      {"tells values of the answer before", PromiseNumber::old_controller, flaw(Flaw::stale_snapshot)},
      {"clears bits that others may set", PromiseNumber::passes_on, flaw(Flaw::rewrites_field, 0, "revision")},
      {"makes the checks of damaged frames anew", PromiseNumber::after_damage, flaw(Flaw::remakes_checks)},
      {"acts twice", PromiseNumber::to_everyone, flaw(Flaw::acts_again_after)},
      {"tells each cell as the one beside it", PromiseNumber::old_controller, flaw(Flaw::cells_off_by_one)},
      {"counts a cell too many", PromiseNumber::old_controller, flaw(Flaw::counts_one_more)},
      {"answers topics that it does not know", PromiseNumber::old_controller,
       [](KindSpec& kind, ChainDescription&) {
         kind.topics = {"nameplate", "readings", "limits", "bleed", "enrol"};
         kind.flaw.mistake = Flaw::answers_unknown_topic;
       }},
      {"hangs after a long frame", PromiseNumber::passes_on, flaw(Flaw::hangs_above_bytes, 40)},
      {"answers late only while it bleeds", PromiseNumber::balancing,
       [](KindSpec& kind, ChainDescription&) { kind.measurement.settle = 400 * millisecond; }},
      {"sleeps, and misses the first byte", PromiseNumber::in_time,
       [](KindSpec& kind, ChainDescription&) {
         kind.sleep_after = 5 * millisecond;
         kind.wake_up = 300 * microsecond;
       }},
      {"a clock that is too fast for the slowest old node", PromiseNumber::clocks,
       [](KindSpec& kind, ChainDescription&) { kind.clock.error_ppb = 35'000'000; }},
      {"loses its address over a reset, and nobody offers it again", PromiseNumber::restarts,
       [](KindSpec& kind, ChainDescription& chain) {
         kind.keeps_address = false;
         chain.controller.enrol.again_after = 0;
       }},
      {"more cells than the controller holds", PromiseNumber::cost,
       [](KindSpec&, ChainDescription& chain) { chain.controller.holds.cells = 20; }},
  };
  return all;
}

}  // namespace

TEST_CASE("coexist: each design with a mistake breaks the promise that it is against, in a short chain") {
  Workers workers(2);
  for (const Design& design : designs()) {
    INFO(design.name);
    Scenario scenario = old_and_new();
    ChainDescription& chain = scenario.chain;
    const std::size_t block = kind_of(chain, "block");
    design.made_wrong(chain.kinds[block], chain);
    const Protocol protocol(scenario.bus);
    const ChainMaker maker(protocol, chain, {block, kind_of(chain, "solo1"), kind_of(chain, "solo2")});
    CoexistPlan plan;
    plan.bounds = {3, 2000, 3};
    plan.promises = {design.against};
    const Coexistence found = coexistence({protocol, maker, 14, std::nullopt}, plan, workers, never_stop, {});
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
      const Trial trial =
          trial_of(finding.breach->promise, {protocol, maker, 14, std::nullopt}, less, finding.breach->balancing);
      CHECK_FALSE(trial.breach);
    }
  }
  CHECK(designs().size() >= 12);
}

TEST_CASE("coexist: the board without a mistake breaks no promise") {
  const Scenario scenario = old_and_new();
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
