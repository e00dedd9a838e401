// What a comparison can show: the smallest changes that it would have shown, and how much more it takes.
#pragma once

#include "study/comparison.h"

namespace hopbench {

/// Of what would be there, so much is seen: Comparison's smallest changes and what is missing go by it.
inline constexpr double compare_power = 0.8;

/// Fills in level and smallest changes of all shares, and how much more it takes to show the difference of tries, or to
/// rule out one that matters. Everything else must be there. `before`, `after`: tries by cluster.
void add_power(Comparison& result, const std::vector<Counted>& before, const std::vector<Counted>& after,
               const CompareOptions& options);

/// Whether a rise, or a fall, that matters lies within the limits.
bool rise_may_hide(const Comparison& result);
bool fall_may_hide(const Comparison& result);

}  // namespace hopbench
