// One exchange after the other, by the controller's time-out, retries, back-off, pace and gap.
#include <algorithm>

#include "budget/cycle_budget.h"

namespace hopbench {
namespace {

/// Pauses before all retries, jitter apart.
Nanos pauses(const ControllerSpec& controller) {
  const BackOffSpec& back_off = controller.back_off;
  Nanos sum = 0;
  Nanos pause = back_off.first;
  for (std::uint32_t i = 0; i < controller.retries; ++i) {
    sum = sum_of(sum, std::min(pause, back_off.longest));
    pause = std::min(times_of(pause, std::max<std::uint32_t>(1, back_off.times)), back_off.longest);
  }
  return sum;
}

/// From its start until it is decided, if nobody ever answers.
Nanos given_up_after(const EntryBudget& entry, BudgetCase which, const ControllerSpec& controller, Nanos held) {
  const std::uint64_t tries = std::uint64_t{controller.retries} + 1;
  Nanos takes = times_of(sum_of(entry.ask[which], sum_of(controller.time_out, held)), tries);
  takes = sum_of(takes, pauses(controller));
  if (which != BudgetCase::worst) return takes;
  return sum_of(takes, times_of(sum_of(controller.back_off.jitter, held), controller.retries));
}

}  // namespace

ExchangeSteps exchange_steps(const EntryBudget& entry, const Protocol& protocol, const ChainDescription& chain,
                             const CaseWalks& walks) {
  const ControllerSpec& controller = chain.controller;
  ExchangeSteps steps;
  const auto next_after = [&](Nanos decided, Nanos held, Nanos least) {
    const Nanos next = std::max({decided, controller.pace, sum_of(decided, controller.gap)});
    return std::max(sum_of(next, held), least);
  };
  for (const BudgetCase which : budget_cases) {
    const Speeds& speeds = walks[which].speeds();
    const Nanos held = speeds.controller_held;
    // Where an answer comes back, the link has long been free again.
    const Nanos free = sum_of(entry.ask[which], protocol.least_gap(speeds.controller));
    switch (entry.frames.reply) {
      case Reply::none:
        steps.step[which] = next_after(given_up_after(entry, which, controller, held), held, free);
        break;
      case Reply::not_awaited:
        steps.step[which] = next_after(sum_of(entry.ask[which], held), held, free);
        break;
      case Reply::answer:
      case Reply::refusal:
      case Reply::comes_round:
        steps.step[which] = next_after(sum_of(entry.ask[which], entry.answered[which]), held, free);
        break;
    }
    const Nanos lost = next_after(given_up_after(entry, which, controller, held), held, free);
    // An answer that is late brings on retries, and those can be late as well. The last time-out ends it.
    const bool late = entry.awaited() && entry.margin[which] < 0;
    if (late) steps.step[which] = which == BudgetCase::best ? std::min(steps.step[which], lost) : lost;
    if (which != BudgetCase::worst) continue;
    if (!walks.bounded) {
      steps.step[which] = never;
      continue;
    }
    steps.given_up = entry.frames.reply == Reply::not_awaited ? steps.step[which] : lost;
  }
  return steps;
}

}  // namespace hopbench
