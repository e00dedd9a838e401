// What a comparison comes to, in a word and a sentence.
#pragma once

#include "study/compare.h"

namespace hopbench {

/// Of the whole, and of each group of places, after Holm.
inline constexpr double compare_level = 0.05;

/// Fills in verdict and sentence from everything else.
void decide(Comparison& result, const CompareOptions& options);

}  // namespace hopbench
