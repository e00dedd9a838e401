#include "budget/budget.h"

#include <algorithm>
#include <map>
#include <set>
#include <utility>

namespace hopbench {
namespace {

constexpr double year_ns = 365.25 * 86'400 * 1e9;

BusChecks checks_of(const Budget& budget, const Protocol& protocol, const ChainDescription& chain,
                    const BudgetWish& wish) {
  BusChecks checks;
  const CheckBudget of_bus(protocol.description());
  checks.unchecked = of_bus.unchecked();
  std::set<std::size_t> payloads;
  for (const EntryBudget& each : budget.entries) {
    payloads.insert(each.frames.ask_payload);
    if (each.frames.answer_bytes > 0) payloads.insert(each.frames.answer_payload);
  }
  for (const std::size_t payload : payloads) {
    for (const CheckedLength& each : of_bus.lengths(payload)) checks.lengths.push_back(each);
  }
  const Nanos round = budget.cycle.mean_round.typical();
  if (round <= 0 || round == never) return checks;
  double unnoticed = 0;
  bool any = wish.bit_error.has_value();
  std::map<std::pair<std::size_t, double>, double> known;
  for (std::size_t i = 0; i < budget.planned; ++i) {
    const EntryBudget& each = budget.entries[i];
    const double rounds =
        year_ns / static_cast<double>(round) / static_cast<double>(std::max<std::uint64_t>(1, each.entry.every));
    checks.frames_a_year += rounds * static_cast<double>(each.hops.size());
    for (const HopBudget& hop : each.hops) {
      const double stated = static_cast<double>(chain.links[hop.link].bit_error) / static_cast<double>(certain);
      const double bit_error = wish.bit_error.value_or(stated);
      if (bit_error <= 0) continue;
      any = true;
      const std::size_t payload = hop.answering ? each.frames.answer_payload : each.frames.ask_payload;
      const auto [place, fresh] = known.emplace(std::pair(payload, bit_error), 0);
      if (fresh) place->second = of_bus.unnoticed(payload, bit_error);
      unnoticed += rounds * place->second;
    }
  }
  if (any) checks.unnoticed_a_year = unnoticed;
  return checks;
}

}  // namespace

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
  const CaseWalks walks(protocol, chain);
  budget.planned = chain.controller.plan.size();
  budget.entries = entry_budgets(protocol, chain, walks);
  budget.cycle = cycle_budget(budget.entries, budget.planned, protocol, chain, walks);
  if (wish.cycle) budget.largest = largest_chains(budget.entries, protocol, chain, *wish.cycle);
  budget.rooms = room_budgets(budget.entries, chain);
  budget.pairs = clock_pairs(protocol, chain);
  budget.divisors = divisor_budgets(protocol, chain);
  budget.checks = checks_of(budget, protocol, chain, wish);
  return budget;
}

}  // namespace hopbench
