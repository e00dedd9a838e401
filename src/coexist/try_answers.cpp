// What nodes answer, to whom, and when: promises about exchanges that nothing disturbs.
#include <algorithm>
#include <map>
#include <string>

#include "budget/entry_budget.h"
#include "coexist/trials.h"
#include "scenario/link_table.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::uint64_t rounds = 2;

/// The last exchange of each entry, by name.
std::map<std::string, const LoggedExchange*> last_by_name(const RunLog& log, const ChainDescription& chain) {
  std::map<std::string, const LoggedExchange*> last;
  for (const LoggedExchange& exchange : log.exchanges) {
    if (exchange.node != nobody) last[entry_name(chain, exchange.entry)] = &exchange;
  }
  return last;
}

/// By how much an answer may come later: what the added hops take at the most, and what the old ones took at the least.
std::map<std::string, CaseSpans> spans_by_name(const Protocol& protocol, const ChainDescription& chain) {
  std::map<std::string, CaseSpans> spans;
  const CaseWalks walks(protocol, chain);
  for (const EntryBudget& entry : entry_budgets(protocol, chain, walks)) {
    CaseSpans& each = spans[entry.entry.name];
    for (const BudgetCase which : budget_cases) each[which] = sum_of(entry.ask[which], entry.answered[which]);
  }
  return spans;
}

std::string stuck_sentence(const ChainDescription& chain) {
  return "In " + in_words(chain) + " frames go round without end.";
}

}  // namespace

Trial try_old_answers(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  if (!has_new(order) || !has_old(order)) return trial;
  const TriedChain with = tried_chain(ground, order, balancing);
  const TriedChain without = tried_chain(ground, without_new(order), balancing);
  if (balancing && with.bled == 0) return trial;
  const RunLog log = logged_exchanges(ground.protocol, with.chain, ground.seed, with.exchanges(rounds));
  const RunLog before = logged_exchanges(ground.protocol, without.chain, ground.seed, without.exchanges(rounds));
  count_run(log, trial.counts);
  count_run(before, trial.counts);
  if (log.stuck && !before.stuck) trial.breach = stuck_sentence(with.chain);
  const auto now = last_by_name(log, with.chain);
  const auto spans = spans_by_name(ground.protocol, with.chain);
  const auto spans_before = spans_by_name(ground.protocol, without.chain);
  for (const auto& [name, was] : last_by_name(before, without.chain)) {
    if (trial.breach) break;
    const auto found = now.find(name);
    if (!was->clean()) continue;  // that is not the new node's doing
    if (found == now.end() || !found->second->clean()) {
      trial.breach = name + " was answered before; with the new node in the chain it is " +
                     (found == now.end() ? "never asked" : fate_of(*found->second, with.chain)) + ".";
    } else if (lasting(found->second->told) != lasting(was->told)) {
      trial.breach = name + " tells something else once the new node is in the chain.";
    } else if (spans.contains(name) && spans_before.contains(name)) {
      const Nanos added =
          spans.at(name).worst() == never ? never : spans.at(name).worst() - spans_before.at(name).best();
      if (added != never && found->second->round_trip > was->round_trip + added) {
        trial.breach = name + " takes " + words::span(found->second->round_trip) + " instead of " +
                       words::span(was->round_trip) + "; the added hops explain " + words::span(added) + ".";
      }
    }
  }
  return trial;
}

Trial try_old_controller(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  if (!has_new(order)) return trial;
  TriedChain tried = tried_chain(ground, order, balancing);
  if (balancing && tried.bled == 0) return trial;
  // No two cells are alike, and each is another one in the next round: nothing passes for what it is not.
  if (!balancing && tried.chain.controller.exact_within_uv == 0) tried.chain.controller.exact_within_uv = 5'000;
  for (KindSpec& each : tried.chain.kinds) {
    each.levels.spread_uv = 200'000;
    each.levels.swing_uv = 100'000;
    each.levels.swing_period = 10 * second;
  }
  const auto plan = tried.chain.controller.plan;
  for (std::uint16_t kind = 1; kind < ground.maker.kinds() && !trial.breach; ++kind) {
    auto& asked = tried.chain.controller.plan;
    asked = ground.maker.asked_like(tried.chain, kind);
    asked.insert(asked.begin(), plan.begin(), plan.begin() + static_cast<std::ptrdiff_t>(tried.first));
    if (asked.size() == tried.first) continue;
    const RunLog log = logged_exchanges(ground.protocol, tried.chain, ground.seed, tried.exchanges(rounds));
    count_run(log, trial.counts);
    for (const LoggedExchange& exchange : log.exchanges) {
      if (exchange.node == nobody || tried.chain.nodes[exchange.node].kind != new_kind) continue;
      if (exchange.entry < tried.first || exchange.entry >= asked.size()) continue;
      const std::string name = entry_name(tried.chain, exchange.entry);
      const KindSpec& own = tried.chain.kinds[new_kind];
      const auto cells = exchange.told.find({Quantity::cell_count, 0});
      // Room and lateness are other promises.
      const bool elsewhere = exchange.no_room || exchange.outcome == Outcome::late;
      if (elsewhere || exchange.outcome == Outcome::refused) continue;
      if (exchange.outcome != Outcome::answered) {
        trial.breach =
            name + ", asked as " + ground.maker.kind(kind).name + " is: " + fate_of(exchange, tried.chain) + ".";
      } else if (cells != exchange.told.end() && cells->second != own.cells) {
        trial.breach = name + " tells of " + std::to_string(cells->second) + " cells; the board has " +
                       std::to_string(own.cells) + ".";
      }
      if (trial.breach) break;
    }
  }
  return trial;
}

Trial try_in_time(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  const TriedChain tried = tried_chain(ground, order, balancing);
  if (balancing && tried.bled == 0) return trial;
  const RunLog log = logged_exchanges(ground.protocol, tried.chain, ground.seed, tried.exchanges(rounds));
  count_run(log, trial.counts);
  if (log.stuck) trial.breach = stuck_sentence(tried.chain);
  for (const LoggedExchange& exchange : log.exchanges) {
    if (trial.breach) return trial;
    if (exchange.clean() || exchange.no_room) continue;
    trial.breach = entry_name(tried.chain, exchange.entry) + ": " + fate_of(exchange, tried.chain) + ".";
  }
  // What no run of this length shows: the slowest clocks, processors busy at the worst moment, and every cell bled if
  // it is to balance.
  ChainDescription whole = ground.maker.make(order);
  if (!balancing) {
    for (KindSpec& kind : whole.kinds) kind.board.bleed_mohm = 0;
  }
  const CaseWalks walks(ground.protocol, whole);
  for (const EntryBudget& entry : entry_budgets(ground.protocol, whole, walks)) {
    if (trial.breach || entry.entry.node == nobody || !entry.awaited()) continue;
    if (entry.margin.worst() >= 0) continue;
    trial.breach = entry.entry.name + " may take " +
                   (entry.answered.worst() == never ? "any time" : words::span(entry.answered.worst())) +
                   " at the worst; the time-out is " + words::span(whole.controller.time_out) + ".";
  }
  return trial;
}

Trial try_room(const TrialGround& ground, const KindOrder& order, bool balancing) {
  Trial trial;
  const TriedChain tried = tried_chain(ground, order, balancing);
  if (balancing && tried.bled == 0) return trial;
  const RunLog log = logged_exchanges(ground.protocol, tried.chain, ground.seed, tried.exchanges(1));
  count_run(log, trial.counts);
  const LinkTable links(tried.chain.shape, tried.chain.nodes.size());
  for (const LoggedExchange& exchange : log.exchanges) {
    if (!exchange.no_room) continue;
    const std::uint16_t node = links[exchange.no_room_on].to;
    trial.breach = entry_name(tried.chain, exchange.entry) + ": a frame of " + std::to_string(exchange.no_room_chars) +
                   " characters has no room in " + (node == nobody ? "the controller" : tried.chain.nodes[node].name) +
                   ".";
    break;
  }
  return trial;
}

}  // namespace hopbench
