// What the checks of a bus miss in the traffic of one plan.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "budget/check_budget.h"
#include "budget/entry_budget.h"

namespace hopbench {

struct BusChecks {
  std::vector<CheckedLength> lengths;  // of frames of the plan, shortest first; each check
  std::vector<std::string> unchecked;
  std::optional<double> unnoticed_a_year;  // frames with damage that no check notices; none without bit errors
  double frames_a_year = 0;                // on all hops
};

/// `entries`: the plan's first. `round`: how long the mean one takes. `bit_error`: of each bit on each hop, else as the
/// hops state it. Damage that nodes pass on is looked at once, where somebody checks it, with the errors of all hops
/// on which it came about.
BusChecks bus_checks(const std::vector<EntryBudget>& entries, std::size_t planned, Nanos round,
                     const Protocol& protocol, const ChainDescription& chain, std::optional<double> bit_error);

}  // namespace hopbench
