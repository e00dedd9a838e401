// The values that a node measures, as a pure function of the node's name, the cell and the instant.
#pragma once

#include <cstdint>

#include "base/luck.h"
#include "base/time.h"
#include "scenario/description.h"

namespace hopbench {

class CellValues {
 public:
  CellValues(const CellLevels& levels, const Luck& luck, std::uint64_t node_hash)
      : levels_(levels), trim_(luck.stream(node_hash, Purpose::cell_trim, 0)) {}

  /// Voltage of `cell` (0..) at `at`, in microvolts: level + the cell's own offset + the daily swing (a triangle that
  /// is at the level at time 0, rising).
  [[nodiscard]] std::int64_t microvolts(std::uint32_t cell, Nanos at) const;

 private:
  CellLevels levels_;
  StreamKey trim_;
};

}  // namespace hopbench
