// Which cells' voltages an answer tells of.
#pragma once

#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"

namespace hopbench {

struct CellsTold {
  std::uint32_t first = 0;
  std::uint32_t cells = 0;  // 0: none
  friend bool operator==(const CellsTold&, const CellsTold&) = default;
};

/// Of a node of this kind, asked for `topic` with these raw values of the ask's fields. From the lowest to the highest
/// cell that comes up; none if the ask cannot be made or the node would refuse it. Cells that are asked for and do not
/// fit an answer are told of too: they are meant to be seen, and never are.
CellsTold cells_told(const Protocol& protocol, const KindSpec& kind, std::uint32_t topic,
                     const std::vector<std::pair<std::string, std::uint64_t>>& arguments);
/// The same for an ask that is not known: as if it were for everything that the node has.
CellsTold cells_told(const Protocol& protocol, const KindSpec& kind, std::uint32_t topic);

}  // namespace hopbench
