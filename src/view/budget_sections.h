// The sections of what `hopbench budget` prints, and the words that they share.
#pragma once

#include <cstddef>
#include <string>

#include "view/budget_report.h"

namespace hopbench {

inline constexpr std::size_t budget_width = 80;

/// What is wrong, or that nothing is.
std::string budget_verdict(const BudgetReport& report);
std::string budget_exchanges(const BudgetReport& report);
/// One exchange hop by hop.
std::string budget_hops(const BudgetReport& report);
std::string budget_cycle(const BudgetReport& report);
std::string budget_buffers(const BudgetReport& report);
std::string budget_clocks(const BudgetReport& report);
std::string budget_checks(const BudgetReport& report);

/// The awaited exchange with the least margin at worst; none if nothing is awaited.
const EntryBudget* tightest_of(const BudgetReport& report);
/// "12.5 ms", "-3.1 ms", "4.9 min", "no bound".
std::string budget_span(Nanos span);
/// "n1 -> n2".
std::string pair_name(const ChainDescription& chain, const ClockPair& pair);
/// A sentence; `lead` "! " for what is out of bounds.
std::string budget_line(const std::string& lead, const std::string& text);

}  // namespace hopbench
