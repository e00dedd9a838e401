// The longest frame that a node must hold, against its buffer.
#pragma once

#include <vector>

#include "budget/entry_budget.h"

namespace hopbench {

struct RoomBudget {
  std::uint16_t node = 0;
  std::size_t entry = 0;  // whose frame is the longest
  bool answering = false;
  std::size_t longest = 0;  // bytes of content
  std::size_t buffer = 0;
  [[nodiscard]] bool fits() const { return longest <= buffer; }
};

/// Of each node with a limited buffer that has to hold any frame. One that passes frames on while they come in holds
/// only those that it acts on.
std::vector<RoomBudget> room_budgets(const std::vector<EntryBudget>& entries, const ChainDescription& chain);

}  // namespace hopbench
