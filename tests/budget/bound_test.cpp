// Best and worst against runs with heat, bleeds, duties and trims, in which nothing is lost: never passed.
#include <algorithm>
#include <map>

#include "budget/budget.h"
#include "chain/chain.h"
#include "check/run_text.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/physical_scenario.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// Nothing is damaged, dropped or switched off; everything that takes time is left as it is.
void lose_nothing(ChainDescription& chain) {
  chain.faults.clear();
  for (LinkSpec& link : chain.links) {
    LinkSpec quiet;
    quiet.isolator_delay = link.isolator_delay;
    link = quiet;
  }
  const auto unhurried = [](ProcessorSpec& processor) {
    processor.fifo_chars = 0;
    processor.watchdog = 0;
  };
  const auto tame = [](ClockSpec& clock) {
    clock.error_ppb /= 8;
    clock.spread_ppb /= 8;
  };
  for (KindSpec& kind : chain.kinds) {
    unhurried(kind.processor);
    tame(kind.clock);
    kind.sleep_after = 0;
    kind.buffer_bytes = 0;
    kind.forwarding.fifo_chars = 1'000;
    kind.board.brown_out_uv = 0;
    // Boards of these scenarios become very hot, and clocks go with it: with more, no pair would be left in tolerance.
    kind.board.clock_ppb_per_k /= 50;
    kind.board.clock_ppb_per_v /= 50;
  }
  for (NodeSpec& node : chain.nodes) {
    if (node.clock) tame(*node.clock);
  }
  unhurried(chain.controller.processor);
  chain.controller.wrap = {};
  chain.controller.enrol.again_after = 0;
}

/// So that nothing is late and no exchange gets into another's way.
bool wait_long_enough(const Protocol& protocol, ChainDescription& chain) {
  const Budget budget = budget_of(protocol, chain, {});
  if (budget.never_answered() > 0) return false;
  Nanos longest = 0;
  for (const EntryBudget& each : budget.entries) longest = std::max(longest, each.answered.worst());
  if (longest == never) return false;
  for (const ClockPair& pair : budget.pairs) {
    if (pair.least < 0) return false;
  }
  chain.controller.time_out = longest + millisecond;
  return true;
}

struct Seen {
  std::uint64_t scenarios = 0;
  std::uint64_t exchanges = 0;
  std::uint64_t held_up = 0;  // took longer than stated
  std::uint64_t gaps = 0;
};

void hold_against(const RandomScenario& made, std::uint64_t exchanges, Seen& seen) {
  const Protocol protocol(made.bus);
  const Budget budget = budget_of(protocol, made.chain, {});
  std::map<std::string, std::size_t> by_name;
  for (std::size_t i = 0; i < budget.entries.size(); ++i) by_name[budget.entries[i].entry.name] = i;
  Collector kept;
  Chain chain(protocol, made.chain, 1, Way::events, Seat::simulated, kept);
  (void)chain.run_exchanges(exchanges);
  chain.finish({});
  ++seen.scenarios;
  // An ask to everyone may still be under way when the next exchange is over.
  std::sort(kept.exchanges.begin(), kept.exchanges.end(),
            [](const KeptExchange& a, const KeptExchange& b) { return a.seen.number < b.seen.number; });
  std::map<std::size_t, Nanos> answered_at;
  for (std::size_t n = 0; n < kept.exchanges.size(); ++n) {
    const KeptExchange& each = kept.exchanges[n];
    const std::size_t entry = by_name.at(kept.info.entries[each.seen.entry].name);
    const EntryBudget& expected = budget.entries[entry];
    INFO(expected.entry.name << ": " << describe(each));
    // A node that passes characters on as they come cannot make one frame wait for another: that is a loss.
    const bool merged = std::any_of(each.attempt_truths.begin(), each.attempt_truths.end(),
                                    [](const AttemptTruth& truth) { return truth.cause == Cause::merged; });
    if (merged) return;
    if (n + 1 < kept.exchanges.size()) {
      const Nanos step = kept.exchanges[n + 1].seen.start - each.seen.start;
      const ExchangeSteps& steps = budget.cycle.steps[entry];
      CHECK(step >= steps.step.best());
      CHECK(step <= steps.step.worst());
    }
    if (!expected.awaited()) continue;
    ++seen.exchanges;
    REQUIRE(each.attempts.size() == 1);
    const Nanos took = each.seen.decided - each.attempts.front().ask_end;
    CHECK(took >= expected.answered.best());
    CHECK(took <= expected.answered.worst());
    if (took > expected.answered.typical()) ++seen.held_up;
    if (expected.frames.cells == 0 || entry >= budget.planned) continue;
    if (const auto before = answered_at.find(entry); before != answered_at.end()) {
      REQUIRE(budget.cycle.nothing_lost.has_value());
      CHECK(each.seen.decided - before->second <= budget.cycle.nothing_lost->for_longest);
      ++seen.gaps;
    }
    answered_at[entry] = each.seen.decided;
  }
}

}  // namespace

TEST_CASE("no exchange, step or gap between two readings goes beyond what is worked out") {
  const Numbers numbers = numbers_to_try(200);
  Seen seen;
  for (std::uint64_t number = numbers.first; number < numbers.beyond; ++number) {
    RandomScenario made = physical_scenario(number);
    lose_nothing(made.chain);
    const Protocol protocol(made.bus);
    if (!wait_long_enough(protocol, made.chain)) continue;
    INFO("physical scenario " << number);
    hold_against(made, 120, seen);
  }
  CHECK(seen.scenarios > (numbers.beyond - numbers.first) / 4);
  CHECK(seen.exchanges > 20 * seen.scenarios);
  CHECK(seen.held_up > seen.exchanges / 20);
  CHECK(seen.gaps > seen.exchanges / 4);
}

TEST_CASE("whatever is lost, late or damaged, no exchange takes longer than all its tries can") {
  const Numbers numbers = numbers_to_try(150);
  std::uint64_t steps = 0;
  std::uint64_t given_up = 0;
  for (std::uint64_t number = numbers.first; number < numbers.beyond; ++number) {
    RandomScenario made = physical_scenario(number);
    made.chain.controller.wrap = {};  // a controller whose clock wraps takes as long as it likes
    const Protocol protocol(made.bus);
    const TimeBudget budget = time_budget(protocol, made.chain);
    std::map<std::string, std::size_t> by_name;
    for (std::size_t i = 0; i < budget.entries.size(); ++i) by_name[budget.entries[i].entry.name] = i;
    Collector kept;
    Chain chain(protocol, made.chain, 1, Way::events, Seat::simulated, kept);
    (void)chain.run_exchanges(60);
    chain.finish({});
    std::sort(kept.exchanges.begin(), kept.exchanges.end(),
              [](const KeptExchange& a, const KeptExchange& b) { return a.seen.number < b.seen.number; });
    INFO("physical scenario " << number);
    for (std::size_t n = 0; n + 1 < kept.exchanges.size(); ++n) {
      const KeptExchange& each = kept.exchanges[n];
      const ExchangeSteps& expected = budget.cycle.steps[by_name.at(kept.info.entries[each.seen.entry].name)];
      INFO(describe(each));
      CHECK(kept.exchanges[n + 1].seen.start - each.seen.start <= expected.given_up);
      ++steps;
      if (expected.given_up != never && each.attempts.size() == made.chain.controller.retries + 1) ++given_up;
    }
  }
  CHECK(steps > 30 * (numbers.beyond - numbers.first));
  CHECK(given_up > steps / 20);
}

TEST_CASE("an answer that can be late counts with all its retries") {
  SmallChain made = small_chain(Shape::ring, 4, "readings");
  made.controller().retries = 2;
  made.controller().pace = 0;
  DutySpec duty;
  duty.every = second;
  duty.takes = 250 * millisecond;
  made.kind().processor.duties = {duty};
  const Protocol protocol(made.bus);
  const TimeBudget budget = time_budget(protocol, made.chain);
  for (const ExchangeSteps& steps : budget.cycle.steps) CHECK(steps.step.worst() == steps.given_up);
  const Collector kept = made.run(200);
  Nanos longest = 0;
  for (std::size_t n = 0; n + 1 < kept.exchanges.size(); ++n) {
    const KeptExchange& each = kept.exchanges[n];
    const Nanos step = kept.exchanges[n + 1].seen.start - each.seen.start;
    CHECK(step <= budget.cycle.steps[each.seen.entry].step.worst());
    longest = std::max(longest, step);
  }
  // Two tries and more: one time-out is not all.
  CHECK(longest > 2 * made.controller().time_out);
}

TEST_CASE("an exchange that is lost with all retries takes what is worked out, and its cell is not unread for longer") {
  SmallChain made = small_chain(GENERATE(Shape::ring, Shape::line), 4, "readings");
  made.controller().retries = 3;
  made.controller().back_off = {3 * millisecond, 2, 8 * millisecond, 0};
  made.controller().pace = 0;
  made.controller().gap = 2 * millisecond;
  const Protocol protocol(made.bus);
  const Budget budget = budget_of(protocol, made.chain, {});
  REQUIRE(budget.cycle.one_lost.has_value());
  const std::uint16_t node = budget.cycle.one_lost->node;
  FaultSpec& fault = made.fault(FaultClass::loss);
  fault.leg = LegFilter::answers;
  fault.nodes = {node};
  fault.from = second;
  fault.at_most = 4;
  const Collector kept = made.run(120);
  Nanos answered_at = -1;
  Nanos longest = 0;
  std::size_t lost = 0;
  for (std::size_t n = 0; n + 1 < kept.exchanges.size(); ++n) {
    const KeptExchange& each = kept.exchanges[n];
    if (each.seen.entry != node) continue;
    if (each.attempts.size() == 4) {
      ++lost;
      CHECK(kept.exchanges[n + 1].seen.start - each.seen.start == budget.cycle.steps[node].given_up);
      continue;
    }
    if (answered_at >= 0) longest = std::max(longest, each.seen.decided - answered_at);
    answered_at = each.seen.decided;
  }
  CHECK(lost == 1);
  // Nothing is left to chance here, so the bound is the thing itself.
  CHECK(budget.cycle.one_lost->for_longest == longest);
  CHECK(budget.cycle.nothing_lost->for_longest < longest);
}

TEST_CASE("a round in which all is lost takes what is worked out, with orders to bleed and offers of addresses") {
  const bool enrols = GENERATE(false, true);
  SmallChain made = small_chain(GENERATE(Shape::ring, Shape::line), 4, "readings");
  made.controller().retries = 2;
  made.controller().back_off = {3 * millisecond, 2, 8 * millisecond, 0};
  made.controller().pace = 0;
  made.controller().gap = 2 * millisecond;
  if (enrols) {
    made.kind().enrols = true;
    made.controller().enrol.at_start = false;
    made.controller().enrol.again_after = 1;
  } else {
    made.kind().board.bleed_mohm = 10'000;
    BalancingSpec& balancing = made.controller().balancing;
    balancing.every = 2 * second;
    balancing.start_uv = 0;
    balancing.difference_uv = 0;
    balancing.repeat_after = millisecond;
  }
  FaultSpec& fault = made.fault(FaultClass::loss);
  fault.leg = LegFilter::answers;
  fault.from = 3 * second;  // by then there are readings to balance by
  const Protocol protocol(made.bus);
  const TimeBudget budget = time_budget(protocol, made.chain);
  const Collector kept = made.run(320);
  std::vector<Nanos> rounds;
  for (const KeptExchange& each : kept.exchanges) {
    if (kept.info.entries[each.seen.entry].name == budget.entries.front().entry.name) rounds.push_back(each.seen.start);
  }
  REQUIRE(rounds.size() > 2);
  Nanos longest = 0;
  for (std::size_t i = 1; i < rounds.size(); ++i) longest = std::max(longest, rounds[i] - rounds[i - 1]);
  CHECK(longest <= budget.cycle.all_lost);
  const std::size_t others = budget.entries.size() - budget.planned;
  CHECK(others == 4);
  // No looser than the exchanges that may not fall into the round.
  CHECK(longest > budget.cycle.all_lost * 3 / 4);
}

}  // namespace hopbench
