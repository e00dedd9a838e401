// What `hopbench budget` shows. docs/budget.md tells what each figure means and by which formula it is worked out.
#pragma once

#include <optional>
#include <string>

#include "budget/budget.h"

namespace hopbench {

/// A budget and what it is of. All must outlive it.
struct BudgetReport {
  const Budget& budget;
  const BusDescription& bus;
  const ChainDescription& chain;
  BudgetWish wish;
  std::optional<std::size_t> shown;  // entry that is shown hop by hop; none: the one with the least margin
};

/// Tables for a terminal, 80 columns wide.
std::string budget_text(const BudgetReport& report);
/// One JSON document, schema hopbench.budget/1.
std::string budget_json(const BudgetReport& report);

/// A station as people know it. `nobody`: the controller.
std::string station_name(const ChainDescription& chain, std::uint16_t station);
/// What the controller gets: "answer", "refusal", "comes round", "nothing awaited", "no answer".
std::string_view name_of(Reply reply);

}  // namespace hopbench
