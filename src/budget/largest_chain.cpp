// How large a chain may be for a wanted round, by the same formulas.
#include <algorithm>

#include "budget/cycle_budget.h"

namespace hopbench {
namespace {

constexpr std::size_t most_nodes = 250;  // of a scenario; docs/scenario.md

std::size_t addresses_of(const Protocol& protocol) {
  std::size_t count = 0;
  for (std::uint64_t address = 1; address <= most_nodes; ++address)
    count += protocol.may_be_an_address(address) ? 1U : 0U;
  return count == 0 ? most_nodes : count;
}

/// A chain of nothing but nodes like `node`.
ChainDescription chain_like(const ChainDescription& chain, std::uint16_t node, std::size_t nodes) {
  ChainDescription made = chain;
  made.start.nodes.clear();
  made.pack.battery.taps.clear();
  made.nodes.assign(nodes, chain.nodes[node]);
  made.links.assign(LinkTable(chain.shape, nodes).size(), chain.links[node]);
  return made;
}

struct Tried {
  CaseSpans round;
  CaseSpans margin{{never, never, never}};  // the least
};

Tried try_chain(const std::vector<EntryBudget>& entries, const Protocol& protocol, const ChainDescription& chain,
                std::uint16_t node, std::size_t planned, std::size_t nodes) {
  const ChainDescription made = chain_like(chain, node, nodes);
  const CaseWalks walks(protocol, made);
  std::vector<EntryBudget> asked;
  Tried tried;
  const auto take = [&](const EntryBudget& each) {
    if (each.entry.node != node) return;
    for (std::uint16_t i = 0; i < nodes; ++i) {
      asked.push_back(each);
      EntryBudget& entry = asked.back();
      entry.entry.node = i;
      put_times(entry, made, walks);
      for (const BudgetCase which : budget_cases) {
        if (entry.awaited()) tried.margin[which] = std::min(tried.margin[which], entry.margin[which]);
      }
    }
  };
  for (std::size_t i = 0; i < planned; ++i) take(entries[i]);
  const std::size_t of_plan = asked.size();
  for (std::size_t i = planned; i < entries.size(); ++i) take(entries[i]);
  tried.round = cycle_budget(asked, of_plan, protocol, made, walks).longest_round;
  return tried;
}

}  // namespace

std::string_view name_of(ChainLimit limit) {
  switch (limit) {
    case ChainLimit::round:
      return "round";
    case ChainLimit::time_out:
      return "time-out";
    case ChainLimit::addresses:
      return "addresses";
    case ChainLimit::nodes:
      return "nodes";
  }
  return "";
}

std::vector<LargestChain> largest_chains(const std::vector<EntryBudget>& entries, const Protocol& protocol,
                                         const ChainDescription& chain, Nanos wanted) {
  std::vector<LargestChain> chains;
  const std::size_t planned = chain.controller.plan.size();
  const auto end_of_plan = entries.begin() + static_cast<std::ptrdiff_t>(planned);
  for (std::size_t kind = 0; kind < chain.kinds.size(); ++kind) {
    const auto first = std::find_if(entries.begin(), end_of_plan, [&](const EntryBudget& each) {
      return each.entry.node != nobody && chain.nodes[each.entry.node].kind == kind;
    });
    if (first == end_of_plan) continue;
    const auto most = [&](BudgetCase which) {
      std::size_t beyond = addresses_of(protocol) + 1;
      LargestChain::Most found{0, beyond > most_nodes ? ChainLimit::nodes : ChainLimit::addresses};
      // Whatever is late or takes too long does so in a larger chain as well.
      while (beyond - found.nodes > 1) {
        const std::size_t middle = found.nodes + (beyond - found.nodes) / 2;
        const Tried tried = try_chain(entries, protocol, chain, first->entry.node, planned, middle);
        const bool late = tried.margin[which] < 0;
        if (!late && tried.round[which] <= wanted) {
          found.nodes = middle;
        } else {
          beyond = middle;
          found.limit = late ? ChainLimit::time_out : ChainLimit::round;
        }
      }
      return found;
    };
    chains.push_back({kind, most(BudgetCase::typical), most(BudgetCase::worst)});
  }
  return chains;
}

}  // namespace hopbench
