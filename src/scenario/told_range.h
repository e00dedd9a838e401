// What the nodes of a scenario can have to tell: the range of each quantity, as far as the scenario says it.
#pragma once

#include <cstdint>
#include <optional>

#include "bus/description.h"
#include "scenario/description.h"
#include "scenario/quantity.h"

namespace hopbench {

/// In the quantity's own unit; both ends are possible.
struct TellRange {
  std::int64_t least = 0;
  std::int64_t most = 0;
};

/// Of this node, when the run begins and from what the scenario states of levels, battery, charge, air and kind. Not
/// what loads, bleeds and faults make of it. None for counters, which grow as long as a run lasts.
std::optional<TellRange> told_range(const ChainDescription& chain, std::size_t node, Quantity quantity);

/// What a field or register of these bits and scale can say.
TellRange sayable_range(const FieldSpec& field, const Scale& scale, bool is_signed);

/// Of anything that may hang on such a bus: no field for the quantity is of use if it has no room for any of it. None
/// where nothing can be said.
///
/// Cells: 1.0 V (a discharged cell of the chemistries with the lowest voltages) to 4.35 V (a full one of those with the
/// highest). Boards: -40 to 85 degrees Celsius, the usual industrial range. Both are common practice, no source. Cells
/// of a board: 1 to 16, the bench's own limit.
std::optional<TellRange> plausible_range(Quantity quantity);

}  // namespace hopbench
