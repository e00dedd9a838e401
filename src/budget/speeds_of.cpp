#include "budget/speeds_of.h"

#include "budget/board_range.h"
#include "budget/clock_range.h"
#include "budget/longest_busy.h"

namespace hopbench {
namespace {

Period of_case(const ClockRange& range, BudgetCase which) {
  return which == BudgetCase::best ? range.fastest : which == BudgetCase::typical ? range.stated : range.slowest;
}

}  // namespace

std::uint32_t most_bled(const ChainDescription& chain, std::size_t node) {
  // A node bleeds by what its kind says, whatever board stands in for its heat.
  const KindSpec& kind = chain.kinds[chain.nodes[node].kind];
  return kind.board.bleed_mohm > 0 ? kind.cells : 0;
}

bool speeds_of(const Protocol& protocol, const ChainDescription& chain, BudgetCase which, Speeds& speeds) {
  speeds = exact_speeds(protocol, chain);
  speeds.controller = of_case(clock_range(protocol, chain, nobody), which);
  for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
    speeds.nodes[i] = of_case(clock_range(protocol, chain, static_cast<std::uint16_t>(i)), which);
  }
  if (which != BudgetCase::worst) return true;
  bool bounded = true;
  const auto held = [&](const ProcessorSpec& processor, std::uint32_t bled) {
    const Nanos busy = longest_busy(processor, bled);
    bounded = bounded && busy != never;
    return busy == never ? 0 : busy;
  };
  speeds.controller_held = held(chain.controller.processor, 0);
  for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
    speeds.held[i] = held(chain.kinds[chain.nodes[i].kind].processor, most_bled(chain, i));
  }
  return bounded;
}

}  // namespace hopbench
