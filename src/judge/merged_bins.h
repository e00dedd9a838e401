// Which neighbouring bins of an ordered scale may be told as one because their shares do not differ: R. Kerber,
// "ChiMerge: Discretization of Numeric Attributes", AAAI-92, 123-128.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "judge/difference.h"

namespace hopbench {

struct BinRange {
  std::size_t first = 0;  // index into the bins
  std::size_t last = 0;
};

/// Ranges of bins that hold any trials, upwards. Neighbours without a hit become one. As long as there are more than
/// `most` ranges, the two neighbours that differ least (chi-square of two shares) become one, but none that differ at
/// 5 %.
std::vector<BinRange> merged_bins(std::span<const Counted> bins, std::size_t most);

}  // namespace hopbench
