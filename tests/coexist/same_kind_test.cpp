// A new kind that differs from the old one in nothing but its name, over scenarios drawn at random: it breaks nothing
// that the old one does not break in its place.
#include <algorithm>
#include <cstdlib>

#include "coexist/coexist.h"
#include "support/catch.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"
#include "support/wild_scenario.h"

namespace hopbench {
namespace {

const StopAsked never_stop = [] { return false; };

/// Adds a copy of the first node's kind, under another name, and a node of it behind all others that is asked the same.
RandomScenario with_copy(RandomScenario scenario) {
  ChainDescription& chain = scenario.chain;
  KindSpec copy = chain.kinds[chain.nodes.front().kind];
  copy.name = "copy";
  chain.kinds.push_back(copy);
  return scenario;
}

bool asks_first(const ChainDescription& chain) {
  return std::any_of(chain.controller.plan.begin(), chain.controller.plan.end(),
                     [](const PlanEntry& entry) { return entry.node == 0; });
}

RandomScenario drawn(std::uint64_t number) {
  switch (number % 4) {
    case 0:
      return random_scenario(number);
    case 1:
      return wild_scenario(number);
    case 2:
      return physical_scenario(number);
    default:
      return edgy_scenario(number);
  }
}

}  // namespace

TEST_CASE("coexist: a kind that differs in its name alone passes on all that it should, and is like the old one") {
  std::uint64_t tried = 0;
  std::uint64_t passed = 0;
  for (std::uint64_t number = 0; number < 60; ++number) {
    const RandomScenario scenario = with_copy(drawn(number));
    const ChainDescription& chain = scenario.chain;
    if (!asks_first(chain)) continue;
    INFO("scenario " << number);
    const Protocol protocol(scenario.bus);
    const ChainMaker maker(protocol, chain, {chain.kinds.size() - 1, chain.nodes.front().kind});
    REQUIRE(maker.is_asked(new_kind));
    const TrialGround ground{protocol, maker, number, std::nullopt};
    for (const KindOrder& order : {KindOrder{0}, {0, 1}, {1, 0}, {1, 0, 1}}) {
      const KindOrder old(order.size(), 1);
      for (const PromiseNumber promise : {PromiseNumber::room, PromiseNumber::to_everyone}) {
        const Trial with = trial_of(promise, ground, order, false);
        const Trial without = trial_of(promise, ground, old, false);
        INFO(promises()[static_cast<std::size_t>(promise)].id << ": " << with.breach.value_or("kept"));
        CHECK(with.breach.has_value() == without.breach.has_value());
        tried += with.counts.chains;
      }
      const Trial passes = trial_of(PromiseNumber::passes_on, ground, order, false);
      INFO(passes.breach.value_or("kept"));
      if (chain.kinds.back().buffer_bytes == 0) CHECK_FALSE(passes.breach);
      passed += passes.counts.frames;
      for (const PromiseNumber promise :
           {PromiseNumber::old_answers, PromiseNumber::old_controller, PromiseNumber::in_time, PromiseNumber::addresses,
            PromiseNumber::restarts, PromiseNumber::after_damage, PromiseNumber::numbers, PromiseNumber::clocks,
            PromiseNumber::cost}) {
        (void)trial_of(promise, ground, order, false);
        (void)trial_of(promise, ground, order, true);
      }
    }
  }
  CHECK(tried > 200);
  CHECK(passed > 10'000);
}

TEST_CASE("coexist: the result is the same for any number of workers") {
  const RandomScenario scenario = with_copy(random_scenario(3));
  const ChainDescription& chain = scenario.chain;
  REQUIRE(asks_first(chain));
  const Protocol protocol(scenario.bus);
  const ChainMaker maker(protocol, chain, {chain.kinds.size() - 1, chain.nodes.front().kind});
  const TrialGround ground{protocol, maker, 3, std::nullopt};
  CoexistPlan plan;
  plan.bounds = {3, 2000, 5};
  Workers one(1);
  Workers three(3);
  const Coexistence a = coexistence(ground, plan, one, never_stop, {});
  const Coexistence b = coexistence(ground, plan, three, never_stop, {});
  REQUIRE(a.promises.size() == promise_count);
  for (std::size_t i = 0; i < promise_count; ++i) {
    const PromiseFinding& x = a.promises[i];
    const PromiseFinding& y = b.promises[i];
    CHECK(x.counts == y.counts);
    CHECK(x.note == y.note);
    CHECK(x.breach.has_value() == y.breach.has_value());
    if (x.breach && y.breach) {
      CHECK(x.breach->order == y.breach->order);
      CHECK(x.breach->sentence == y.breach->sentence);
    }
    for (std::size_t which = 0; which < order_class_count; ++which) {
      CHECK(x.by_class[which].tried == y.by_class[which].tried);
      CHECK(x.by_class[which].broken == y.by_class[which].broken);
    }
  }
  CHECK(a.trials == b.trials);
}

}  // namespace hopbench
