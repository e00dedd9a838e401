#include "budget/cycle_budget.h"

#include <algorithm>
#include <map>

#include "scenario/asked.h"
#include "scenario/cells_told.h"

namespace hopbench {
namespace {

class Rounds {
 public:
  Rounds(const std::vector<EntryBudget>& entries, std::size_t planned, const ChainDescription& chain,
         const std::vector<ExchangeSteps>& steps)
      : entries_(&entries), planned_(planned), chain_(&chain), steps_(&steps) {
    for (std::size_t i = planned; i < entries.size(); ++i) {
      if (!entries[i].entry.name.starts_with(order_name)) continue;
      orders_ = sum_of(orders_, steps[i].step.worst());
      orders_lost_ = sum_of(orders_lost_, steps[i].given_up);
    }
  }

  [[nodiscard]] std::uint64_t every(std::size_t entry) const {
    return std::max<std::uint64_t>(1, (*entries_)[entry].entry.every);
  }
  /// Of so many rounds in a row, the longest there can be.
  [[nodiscard]] Nanos rounds(std::uint64_t count, BudgetCase which) const {
    Nanos sum = 0;
    for (std::size_t i = 0; i < planned_; ++i) {
      sum = sum_of(sum, times_of((*steps_)[i].step[which], (count + every(i) - 1) / every(i)));
    }
    return which == BudgetCase::worst ? with_orders(sum, orders_) : sum;
  }
  [[nodiscard]] Nanos orders() const { return orders_; }
  [[nodiscard]] Nanos all_lost() const {
    Nanos sum = 0;
    for (std::size_t i = 0; i < planned_; ++i) sum = sum_of(sum, sum_of((*steps_)[i].given_up, offer_after(i)));
    return with_orders(sum, orders_lost_);
  }
  /// A lost exchange may make the controller offer its node an address again.
  [[nodiscard]] Nanos offer_after(std::size_t entry) const {
    const std::uint16_t node = (*entries_)[entry].entry.node;
    if (node == nobody || chain_->controller.enrol.again_after == 0) return 0;
    if (!chain_->kinds[chain_->nodes[node].kind].enrols) return 0;
    for (std::size_t i = planned_; i < entries_->size(); ++i) {
      const PlanEntry& each = (*entries_)[i].entry;
      if (each.node == node && each.name.starts_with(offer_name)) return (*steps_)[i].given_up;
    }
    return 0;
  }
  [[nodiscard]] Nanos mean(BudgetCase which) const {
    Nanos sum = 0;
    for (std::size_t i = 0; i < planned_; ++i) {
      const Nanos step = (*steps_)[i].step[which];
      sum = sum_of(sum, step == never ? never : step / static_cast<Nanos>(every(i)));
    }
    return sum;
  }

 private:
  const std::vector<EntryBudget>* entries_;
  std::size_t planned_;
  const ChainDescription* chain_;
  const std::vector<ExchangeSteps>* steps_;
  Nanos orders_ = 0;  // to each node, once
  Nanos orders_lost_ = 0;

  /// A span of the plan with the looks at the balance that fall into it; `never` if they leave no time for the plan.
  [[nodiscard]] Nanos with_orders(Nanos plan, Nanos orders) const {
    const Nanos look = chain_->controller.balancing.every;
    if (look <= 0 || orders == 0 || plan == never) return plan;
    constexpr int most_rounds = 1'000;
    Nanos span = plan;
    for (int i = 0; i < most_rounds; ++i) {
      const Nanos longer = sum_of(plan, times_of(orders, static_cast<std::uint64_t>(span / look) + 1));
      if (longer == span || longer == never) return longer;
      span = longer;
    }
    return never;
  }
};

using Cell = std::pair<std::uint16_t, std::uint32_t>;

void put_longest(std::optional<UnreadCell>& longest, const std::map<Cell, Nanos>& spans) {
  for (const auto& [cell, span] : spans) {
    if (!longest || span > longest->for_longest) longest = UnreadCell{cell.first, cell.second, span};
  }
}

}  // namespace

TimeBudget time_budget(const Protocol& protocol, const ChainDescription& chain) {
  const CaseWalks walks(protocol, chain);
  TimeBudget times;
  times.planned = chain.controller.plan.size();
  times.entries = entry_budgets(protocol, chain, walks);
  times.cycle = cycle_budget(times.entries, times.planned, protocol, chain, walks);
  return times;
}

CycleBudget cycle_budget(const std::vector<EntryBudget>& entries, std::size_t planned, const Protocol& protocol,
                         const ChainDescription& chain, const CaseWalks& walks) {
  CycleBudget cycle;
  for (const EntryBudget& each : entries) cycle.steps.push_back(exchange_steps(each, protocol, chain, walks));
  const Rounds rounds(entries, planned, chain, cycle.steps);
  for (const BudgetCase which : budget_cases) {
    cycle.longest_round[which] = rounds.rounds(1, which);
    cycle.mean_round[which] = rounds.mean(which);
  }
  cycle.orders = rounds.orders();
  cycle.all_lost = rounds.all_lost();
  std::vector<Nanos> losses;  // by which an exchange takes longer if all its tries are lost
  for (std::size_t i = 0; i < planned; ++i) {
    const ExchangeSteps& step = cycle.steps[i];
    const bool bounded = step.given_up != never && step.step.worst() != never;
    losses.push_back(bounded ? sum_of(step.given_up - step.step.worst(), rounds.offer_after(i)) : never);
  }
  const Nanos longest_loss = losses.empty() ? 0 : *std::max_element(losses.begin(), losses.end());
  std::map<Cell, Nanos> nothing_lost;
  std::map<Cell, Nanos> one_lost;
  for (std::size_t i = 0; i < planned; ++i) {
    const EntryBudget& each = entries[i];
    if (each.frames.reply != Reply::answer || each.frames.cells == 0) continue;
    const KindSpec& kind = chain.kinds[chain.nodes[each.entry.node].kind];
    const CellsTold told = cells_told(protocol, kind, *protocol.topic_named(each.entry.topic), each.entry.arguments);
    const Nanos in_time = sum_of(each.ask.worst(), each.answered.worst());
    const Nanos latest = each.margin.worst() < 0 ? cycle.steps[i].given_up : in_time;
    const bool ever = latest != never && each.margin.best() >= 0;
    const Nanos jitter = ever ? latest - each.ask.best() - each.answered.best() : never;
    const Nanos span = sum_of(rounds.rounds(rounds.every(i), BudgetCase::worst), jitter);
    // Its own exchange is lost, and the next one comes a turn later; or another is, and all comes later.
    const Nanos turn_later = sum_of(sum_of(rounds.rounds(2 * rounds.every(i), BudgetCase::worst), jitter), losses[i]);
    const Nanos with_loss = std::max(turn_later, sum_of(span, longest_loss));
    for (std::uint32_t cell = told.first; cell < told.first + told.cells; ++cell) {
      const Cell which{each.entry.node, cell};
      const auto shorter = [&](std::map<Cell, Nanos>& spans, Nanos by) {
        const auto [place, fresh] = spans.emplace(which, by);
        if (!fresh) place->second = std::min(place->second, by);
      };
      shorter(nothing_lost, span);
      shorter(one_lost, with_loss);
    }
  }
  put_longest(cycle.nothing_lost, nothing_lost);
  put_longest(cycle.one_lost, one_lost);
  for (std::uint16_t node = 0; node < chain.nodes.size(); ++node) {
    for (std::uint32_t cell = 0; cell < chain.kinds[chain.nodes[node].kind].cells; ++cell) {
      cycle.cells_never_asked += nothing_lost.contains({node, cell}) ? 0U : 1U;
    }
  }
  return cycle;
}

}  // namespace hopbench
