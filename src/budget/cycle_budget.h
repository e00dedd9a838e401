// How long a controller needs for a round of its plan, and for how long a cell may go unread.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "budget/entry_budget.h"

namespace hopbench {

struct ExchangeSteps {
  CaseSpans step;          // from its ask's first edge to that of the next exchange, nothing being lost; of an answer
                           // that is late, typically or at worst: as if all its tries failed
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
  Nanos orders = 0;                        // to bleed, one to each node, at worst; 0 if the controller does not balance
  Nanos all_lost = 0;                      // each exchange is lost with all its retries
  std::optional<UnreadCell> nothing_lost;  // of answers that can be late: one try of each exchange is in time
  std::optional<UnreadCell> one_lost;      // one exchange, with all retries
  std::uint64_t cells_never_asked = 0;
};

/// `entries`: the plan's first, as entry_budgets() gives them.
CycleBudget cycle_budget(const std::vector<EntryBudget>& entries, std::size_t planned, const Protocol& protocol,
                         const ChainDescription& chain, const CaseWalks& walks);

/// The above alone: all that the controller asks, and its rounds. It costs far less than a whole budget.
struct TimeBudget {
  std::size_t planned = 0;  // the first entries are the plan's
  std::vector<EntryBudget> entries;
  CycleBudget cycle;
};
/// The protocol's description must have no faults.
TimeBudget time_budget(const Protocol& protocol, const ChainDescription& chain);

/// Why a chain of one kind can have no more nodes.
enum class ChainLimit : std::uint8_t {
  round,
  time_out,
  addresses,  // of the bus
  nodes,      // a scenario has no more
};
std::string_view name_of(ChainLimit limit);

/// The largest chain of one kind whose round takes no longer than wanted and whose answers all meet the time-out.
struct LargestChain {
  struct Most {
    std::size_t nodes = 0;
    ChainLimit limit = ChainLimit::round;
  };
  std::size_t kind = 0;
  Most typical;
  Most worst;
};
/// Of each kind that the plan asks something: chains of nothing else, asked as the first node of the kind is.
std::vector<LargestChain> largest_chains(const std::vector<EntryBudget>& entries, const Protocol& protocol,
                                         const ChainDescription& chain, Nanos wanted);

}  // namespace hopbench
