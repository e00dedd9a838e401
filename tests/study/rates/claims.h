// Sentences of place and time that explain says from the controller, held against what was hidden and what was seen.
#pragma once

#include "judge.h"

namespace hopbench::rates {

std::vector<Claim> claims_of(const HiddenCase& hidden, const CaseRun& run, const Explanation& explanation);

}  // namespace hopbench::rates
