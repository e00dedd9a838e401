// Which mechanisms a case may be of.
#pragma once

#include <vector>

#include "study/candidate.h"
#include "study/cases.h"
#include "study/common.h"
#include "study/hypothesis.h"

namespace hopbench {

/// With hops seen, or with a controller's eyes. `common`: what the failures have in common, if it is known: a mechanism
/// that cannot depend on it is rejected.
Judged judged(const Evidence& evidence, const Case& which, const Common* common = nullptr);

/// With a controller's eyes. Inner part.
Judged judged_at_controller(const Evidence& evidence, const Case& which);

/// What is left of these: for each mechanism the most likely form that nothing rejects.
Judged left_of(const std::vector<Hypothesis>& all);

}  // namespace hopbench
