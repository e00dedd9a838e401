// What a scenario can be expected to do, in closed form: no run, no chance.
#pragma once

#include <optional>
#include <vector>

#include "budget/bus_checks.h"
#include "budget/cycle_budget.h"
#include "budget/entry_budget.h"
#include "budget/room_budget.h"
#include "budget/tolerance.h"

namespace hopbench {

struct BudgetWish {
  std::optional<Nanos> cycle;       // for which the largest chains are looked for
  std::optional<double> bit_error;  // of each bit on each hop; else as the hops state it
};

struct Budget {
  std::size_t planned = 0;  // the first entries are the plan's
  std::vector<EntryBudget> entries;
  CycleBudget cycle;
  std::vector<LargestChain> largest;
  std::vector<RoomBudget> rooms;
  std::vector<ClockPair> pairs;
  std::vector<DivisorBudget> divisors;
  BusChecks checks;

  // What cannot work.
  [[nodiscard]] std::size_t late_at_best() const;  // entries
  [[nodiscard]] std::size_t never_answered() const;
  [[nodiscard]] std::size_t without_room() const;      // nodes
  [[nodiscard]] std::size_t out_of_tolerance() const;  // pairs, as the scenario states their clocks
  [[nodiscard]] bool works() const { return late_at_best() == 0 && without_room() == 0 && out_of_tolerance() == 0; }
};

/// The protocol's description must have no faults.
Budget budget_of(const Protocol& protocol, const ChainDescription& chain, const BudgetWish& wish);

}  // namespace hopbench
