// Whether a chain does better after a change than before it, from what was observed of both.
#pragma once

#include "study/comparison.h"
#include "study/tallies.h"

namespace hopbench {

Comparison compare(Tallies before, Tallies after, const CompareOptions& options);

}  // namespace hopbench
