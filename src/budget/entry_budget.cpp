#include "budget/entry_budget.h"

#include <algorithm>
#include <utility>

#include "budget/speeds_of.h"
#include "scenario/asked.h"
#include "scenario/measuring.h"

namespace hopbench {
namespace {

/// One frame's way: what each hop takes. Returns when it has been heard at the end.
Nanos add_hops(EntryBudget& budget, BudgetCase which, const std::vector<FrameOnLink>& way, bool answering,
               std::size_t at) {
  for (std::size_t i = 0; i < way.size(); ++i) {
    if (budget.hops.size() <= at + i) budget.hops.push_back({way[i].link, answering, {}});
    const Nanos until = i + 1 < way.size() ? way[i + 1].start : way[i].known;
    budget.hops[at + i].takes[which] = until - way[i].start;
  }
  return way.back().known;
}

Nanos in_node(const EntryBudget& budget, const KindSpec& kind, bool bleeds, Nanos held) {
  Nanos takes = kind.answer_after + held;
  if (!budget.frames.measured) return takes;
  const Measuring measured = measuring(kind, budget.frames.cells, bleeds);
  return measured.waits ? takes + measured.before + measured.after : takes;
}

}  // namespace

CaseWalks::CaseWalks(const Protocol& protocol, const ChainDescription& chain) {
  for (const BudgetCase which : budget_cases) {
    Speeds speeds;
    bounded = speeds_of(protocol, chain, which, speeds) && bounded;
    walks.emplace_back(protocol, chain, std::move(speeds));
  }
}

void put_times(EntryBudget& budget, const ChainDescription& chain, const CaseWalks& walks) {
  const ExchangeFrames& frames = budget.frames;
  const std::uint16_t node = budget.entry.node;
  budget.hops.clear();
  for (const BudgetCase which : budget_cases) {
    const FrameWalk& walk = walks[which];
    const LinkTable& links = walk.links();
    const Speeds& speeds = walk.speeds();
    const Nanos ask = walk.span(nobody, frames.ask_chars[which]);
    budget.ask[which] = ask;
    budget.out[which] = budget.node[which] = budget.home[which] = budget.answered[which] = 0;
    if (frames.reply == Reply::comes_round) {
      const auto way = walk.along(links.first(), links.size(), frames.ask_chars[which]);
      budget.out[which] = add_hops(budget, which, way, false, 0) - ask + speeds.controller_held;
    } else if (frames.reply == Reply::answer || frames.reply == Reply::refusal) {
      const std::size_t hops_out = links.steps_to(node) + 1;
      const bool bleeds = which == BudgetCase::worst && most_bled(chain, node) > 0;
      const Nanos before = in_node(budget, chain.kinds[chain.nodes[node].kind], bleeds, speeds.held[node]);
      const FrameWalk::Trip trip =
          walk.there_and_back(node, frames.ask_chars[which], frames.answer_chars[which], before);
      const Nanos heard = add_hops(budget, which, trip.out, false, 0);
      const Nanos known = add_hops(budget, which, trip.home, true, hops_out);
      budget.out[which] = heard - ask;
      budget.node[which] = trip.home.front().start - heard;
      budget.home[which] = known - trip.home.front().start + speeds.controller_held;
    }
    budget.answered[which] = budget.out[which] + budget.node[which] + budget.home[which];
    if (which == BudgetCase::worst && !walks.bounded && budget.awaited()) budget.answered[which] = never;
    budget.margin[which] =
        budget.answered[which] == never ? -never : chain.controller.time_out - budget.answered[which];
  }
}

std::vector<EntryBudget> entry_budgets(const Protocol& protocol, const ChainDescription& chain,
                                       const CaseWalks& walks) {
  std::vector<EntryBudget> budgets;
  const std::vector<PlanEntry> entries = asked_entries(chain);
  const bool offers = chain.controller.enrol.at_start || chain.controller.enrol.again_after != 0;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const bool offer = i >= chain.controller.plan.size() && entries[i].name.starts_with(offer_name);
    if (offer && !offers) continue;
    budgets.push_back(rehearsed_entry(protocol, chain, entries[i]));
    put_times(budgets.back(), chain, walks);
  }
  wait_behind_everyone(budgets, protocol, chain, walks);
  return budgets;
}

void wait_behind_everyone(std::vector<EntryBudget>& entries, const Protocol& protocol, const ChainDescription& chain,
                          const CaseWalks& walks) {
  const FrameWalk& slow = walks[BudgetCase::worst];
  Nanos behind = 0;
  for (const EntryBudget& each : entries) {
    if (each.frames.reply != Reply::not_awaited) continue;
    const std::size_t outward = slow.links().nodes();
    if (outward == 0) continue;
    behind += slow.along(slow.links().first(), outward, each.frames.ask_chars.worst()).back().known;
    Nanos gap = 0;
    for (const Period period : slow.speeds().nodes) gap = std::max(gap, protocol.least_gap(period));
    behind += std::max(gap, protocol.least_gap(slow.speeds().controller));
  }
  if (behind == 0) return;
  for (EntryBudget& each : entries) {
    if (!each.awaited() || each.answered.worst() == never) continue;
    each.behind = behind;
    each.answered.of.back() += behind;
    each.margin.of.back() = chain.controller.time_out - each.answered.worst();
  }
}

}  // namespace hopbench
