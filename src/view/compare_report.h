// A comparison of two captures, as text and as JSON.
#pragma once

#include <string>

#include "study/compare.h"

namespace hopbench {

std::string compare_text(const Comparison& comparison, const Tallies& before, const Tallies& after);
/// Schema hopbench.comparison/1, see docs/compare.md.
std::string compare_json(const Comparison& comparison, const Tallies& before, const Tallies& after);

}  // namespace hopbench
