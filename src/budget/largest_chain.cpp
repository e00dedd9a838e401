// How large a chain may be for a wanted round, by the same formulas.
#include <algorithm>

#include "budget/cycle_budget.h"

namespace hopbench {
namespace {

constexpr std::size_t most_nodes = 250;  // looked at; fields of eight bits have no room for more

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

CaseSpans round_of(const std::vector<EntryBudget>& entries, const Protocol& protocol, const ChainDescription& chain,
                   std::uint16_t node, std::size_t planned, std::size_t nodes) {
  const ChainDescription made = chain_like(chain, node, nodes);
  const CaseWalks walks(protocol, made);
  std::vector<EntryBudget> asked;
  std::size_t of_plan = 0;
  const auto take = [&](const EntryBudget& each) {
    if (each.entry.node != node) return;
    for (std::uint16_t i = 0; i < nodes; ++i) {
      asked.push_back(each);
      asked.back().entry.node = i;
      put_times(asked.back(), made, walks);
    }
  };
  for (std::size_t i = 0; i < planned; ++i) take(entries[i]);
  of_plan = asked.size();
  for (std::size_t i = planned; i < entries.size(); ++i) take(entries[i]);
  return cycle_budget(asked, of_plan, protocol, made, walks).longest_round;
}

}  // namespace

std::vector<LargestChain> largest_chains(const std::vector<EntryBudget>& entries, const Protocol& protocol,
                                         const ChainDescription& chain, Nanos wanted) {
  std::vector<LargestChain> chains;
  const std::size_t planned = chain.controller.plan.size();
  for (std::size_t kind = 0; kind < chain.kinds.size(); ++kind) {
    const auto first = std::find_if(entries.begin(), entries.begin() + static_cast<std::ptrdiff_t>(planned),
                                    [&](const EntryBudget& each) {
                                      return each.entry.node != nobody && chain.nodes[each.entry.node].kind == kind;
                                    });
    if (first == entries.begin() + static_cast<std::ptrdiff_t>(planned)) continue;
    LargestChain largest{kind, 0, 0, addresses_of(protocol)};
    const auto most = [&](BudgetCase which) {
      std::size_t fits = 0;
      std::size_t beyond = largest.addresses + 1;
      while (beyond - fits > 1) {
        const std::size_t middle = fits + (beyond - fits) / 2;
        const Nanos takes = round_of(entries, protocol, chain, first->entry.node, planned, middle)[which];
        (takes <= wanted ? fits : beyond) = middle;
      }
      return fits;
    };
    largest.typical = most(BudgetCase::typical);
    largest.worst = most(BudgetCase::worst);
    chains.push_back(largest);
  }
  return chains;
}

}  // namespace hopbench
