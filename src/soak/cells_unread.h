// Which cells of a chain went without a reading for the longest time, and when.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "base/time.h"
#include "measure/measures.h"
#include "seen/observation.h"
#include "text/property_terms.h"

namespace hopbench {

/// Neighbouring cells of one node that are always read together, or that nothing asks for.
struct CellsUnread {
  std::string node;
  std::uint32_t first_cell = 0;
  std::uint32_t cells = 1;
  bool ever_read = true;  // false: no reading of them came at all; `span` is all that was covered then
  Nanos span = 0;
  Nanos from = 0;  // on the run's clock
  friend bool operator==(const CellsUnread&, const CellsUnread&) = default;
};

/// Among the cells that the term is about (of one node, or of all). Of several that went equally long those that were
/// never read come first, then those of the first node. None if there is no such cell, or nothing was covered yet.
std::optional<CellsUnread> longest_unread(const PropertyTerm& term, const RunInfo& run, const Measures& measures);

}  // namespace hopbench
