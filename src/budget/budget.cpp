#include "budget/budget.h"

#include <algorithm>
#include <utility>

namespace hopbench {
std::size_t Budget::late_at_best() const {
  return static_cast<std::size_t>(std::count_if(entries.begin(), entries.end(), [](const EntryBudget& each) {
    return each.awaited() && each.margin.best() < 0;
  }));
}

std::size_t Budget::never_answered() const {
  return static_cast<std::size_t>(std::count_if(
      entries.begin(), entries.end(), [](const EntryBudget& each) { return each.frames.reply == Reply::none; }));
}

std::size_t Budget::without_room() const {
  return static_cast<std::size_t>(
      std::count_if(rooms.begin(), rooms.end(), [](const RoomBudget& each) { return !each.fits(); }));
}

std::size_t Budget::out_of_tolerance() const {
  return static_cast<std::size_t>(
      std::count_if(pairs.begin(), pairs.end(), [](const ClockPair& each) { return each.stated < 0; }));
}

Budget budget_of(const Protocol& protocol, const ChainDescription& chain, const BudgetWish& wish) {
  Budget budget;
  TimeBudget times = time_budget(protocol, chain);
  budget.planned = times.planned;
  budget.entries = std::move(times.entries);
  budget.cycle = std::move(times.cycle);
  if (wish.cycle) budget.largest = largest_chains(budget.entries, protocol, chain, *wish.cycle);
  budget.rooms = room_budgets(budget.entries, chain);
  budget.pairs = clock_pairs(protocol, chain);
  budget.divisors = divisor_budgets(protocol, chain);
  const Nanos round = budget.cycle.mean_round.typical();
  budget.checks = bus_checks(budget.entries, budget.planned, round, protocol, chain, wish.bit_error);
  return budget;
}

}  // namespace hopbench
