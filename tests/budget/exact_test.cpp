// Closed form against a run in which nothing is left to chance: equal to the nanosecond.
#include <algorithm>
#include <map>

#include "budget/budget.h"
#include "check/random_text.h"
#include "check/run_text.h"
#include "scenario/without.h"
#include "support/catch.h"

namespace hopbench {
namespace {

bool is_stuffed(FramingKind kind) {
  return kind == FramingKind::cobs || kind == FramingKind::slip || kind == FramingKind::hdlc;
}

void no_luck(ClockSpec& clock) { clock.spread_ppb = 0; }
void no_heat(BoardSpec& board) { board.clock_ppb_per_k = board.clock_ppb_per_v = 0; }

/// Measured as stated, nothing bled; clocks exact, or off as stated without trim, heat and supply.
ChainDescription certain_chain(const ChainDescription& chain, bool clocks) {
  std::vector<Mechanism> kept{Mechanism::measurement};
  if (clocks) kept.push_back(Mechanism::clock);
  ChainDescription made = without(with_only(chain, kept), Mechanism::balancing);
  for (KindSpec& kind : made.kinds) {
    no_luck(kind.clock);
    no_heat(kind.board);
  }
  for (NodeSpec& node : made.nodes) {
    if (node.clock) no_luck(*node.clock);
    if (node.board) no_heat(*node.board);
  }
  no_luck(made.controller.clock);
  return made;
}

struct Compared {
  std::uint64_t exchanges = 0;
  std::uint64_t steps = 0;
  std::uint64_t rounds = 0;
};

/// The first round, in which each entry of the plan is due, if nothing comes between and all goes well.
void compare_round(const Collector& kept, const Budget& budget, Compared& compared) {
  if (budget.entries.size() != budget.planned || kept.exchanges.size() <= budget.planned) return;
  for (std::size_t n = 0; n < budget.planned; ++n) {
    const KeptExchange& each = kept.exchanges[n];
    if (each.attempts.size() != 1 || each.attempts.front().outcome != Outcome::answered) return;
  }
  const Nanos round = kept.exchanges[budget.planned].seen.start - kept.exchanges.front().seen.start;
  CHECK(round == budget.cycle.longest_round.typical());
  ++compared.rounds;
}

void compare(const Scenario& scenario, Compared& compared) {
  const Protocol protocol(scenario.bus);
  const Budget budget = budget_of(protocol, scenario.chain, {});
  if (budget.out_of_tolerance() > 0 || budget.late_at_best() > 0) return;
  std::map<std::string, std::size_t> by_name;
  bool in_line_to_everyone = false;
  for (std::size_t i = 0; i < budget.entries.size(); ++i) {
    by_name[budget.entries[i].entry.name] = i;
    in_line_to_everyone = in_line_to_everyone || budget.entries[i].frames.reply == Reply::not_awaited;
  }
  // What may wait behind an ask to everyone is no fixed time; a bound is tested elsewhere.
  if (in_line_to_everyone) return;
  Collector kept = run(scenario, Way::events, 2 * budget.entries.size() + 1);
  // An ask that comes round may still be under way when the next exchange is over.
  std::sort(kept.exchanges.begin(), kept.exchanges.end(),
            [](const KeptExchange& a, const KeptExchange& b) { return a.seen.number < b.seen.number; });
  for (std::size_t n = 0; n < kept.exchanges.size(); ++n) {
    const KeptExchange& each = kept.exchanges[n];
    const std::size_t entry = by_name.at(kept.info.entries[each.seen.entry].name);
    const EntryBudget& expected = budget.entries[entry];
    if (each.attempts.size() != 1 || each.attempts.front().outcome != Outcome::answered) continue;
    INFO(expected.entry.name << ": " << describe(each));
    const Nanos took = each.seen.decided - each.attempts.front().ask_end;
    CHECK(took >= expected.answered.best());
    if (is_stuffed(scenario.bus.framing.kind)) continue;
    CHECK(took == expected.answered.typical());
    CHECK(each.attempts.front().ask_end - each.attempts.front().start == expected.ask.typical());
    ++compared.exchanges;
    if (n + 1 == kept.exchanges.size()) continue;
    CHECK(kept.exchanges[n + 1].seen.start - each.seen.start == budget.cycle.steps[entry].step.typical());
    ++compared.steps;
  }
  if (!is_stuffed(scenario.bus.framing.kind) && scenario.chain.start.round == 0) compare_round(kept, budget, compared);
}

Compared over_random_texts(bool clocks) {
  const Numbers numbers = numbers_to_try(400);
  Compared compared;
  for (std::uint64_t number = numbers.first; number < numbers.beyond; ++number) {
    const std::string text = random_text(number);
    const LoadedText loaded = load_text(text);
    if (!loaded.silent()) continue;
    Scenario scenario = *loaded.scenario;
    scenario.chain = certain_chain(scenario.chain, clocks);
    INFO("scenario " << number << "\n" << text);
    compare(scenario, compared);
  }
  return compared;
}

}  // namespace

TEST_CASE("with exact clocks each exchange and each step of the plan takes what is worked out") {
  const Compared compared = over_random_texts(false);
  CHECK(compared.exchanges > 500);
  CHECK(compared.steps > 400);
  CHECK(compared.rounds > 50);
}

TEST_CASE("with clocks that are off as stated each exchange takes what is worked out") {
  const Compared compared = over_random_texts(true);
  CHECK(compared.exchanges > 500);
  CHECK(compared.steps > 400);
  CHECK(compared.rounds > 50);
}

}  // namespace hopbench
