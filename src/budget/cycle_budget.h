// How long a controller needs for a round of its plan, and for how long a cell may go unread.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "budget/entry_budget.h"

namespace hopbench {

struct ExchangeSteps {
  CaseSpans step;          // from its ask's first edge to that of the next exchange, nothing being lost
  Nanos given_up = never;  // the same if all its tries fail, at the most; no exchange takes longer
};
ExchangeSteps exchange_steps(const EntryBudget& entry, const Protocol& protocol, const ChainDescription& chain,
                             const CaseWalks& walks);

/// A cell that may go unread for longest.
struct UnreadCell {
  std::uint16_t node = 0;
  std::uint32_t cell = 0;
  Nanos for_longest = 0;
};

struct CycleBudget {
  std::vector<ExchangeSteps> steps;  // as the entries
  CaseSpans longest_round;           // each entry is due; the worst with the orders to bleed that fall into it
  CaseSpans mean_round;
  Nanos all_lost = 0;  // each exchange is lost with all its retries
  std::optional<UnreadCell> nothing_lost;
  std::optional<UnreadCell> one_lost;  // one exchange, with all retries
  std::uint64_t cells_never_asked = 0;
};

/// `entries`: the plan's first, as entry_budgets() gives them.
CycleBudget cycle_budget(const std::vector<EntryBudget>& entries, std::size_t planned, const Protocol& protocol,
                         const ChainDescription& chain, const CaseWalks& walks);

/// Chains of one kind that a wanted round leaves room for.
struct LargestChain {
  std::size_t kind = 0;
  std::size_t typical = 0;  // nodes
  std::size_t worst = 0;
  std::size_t addresses = 0;  // that the bus has; no chain is larger
};
/// Of each kind that the plan asks something: chains of nothing else, asked as the first node of the kind is.
std::vector<LargestChain> largest_chains(const std::vector<EntryBudget>& entries, const Protocol& protocol,
                                         const ChainDescription& chain, Nanos wanted);

}  // namespace hopbench
