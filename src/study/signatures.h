// Which mechanisms a case may be of.
#pragma once

#include <vector>

#include "study/candidate.h"
#include "study/cases.h"
#include "study/common.h"
#include "study/hypothesis.h"

namespace hopbench {

/// Within so much (a factor of about twelve) candidates cannot be told apart.
inline constexpr double told_apart = 2.5;
/// What does not predict better than "anything goes" by so much is not named.
inline constexpr double worth_naming = 0.3;

/// With hops seen; with a controller's eyes see controller_judge.h. `common`: what the failures have in common, if it
/// is known: a mechanism that cannot depend on it is rejected.
Judged judged(const Evidence& evidence, const Case& which, const Common* common = nullptr);

/// What is left of these: for each mechanism the most likely form that nothing rejects.
Judged left_of(const std::vector<Hypothesis>& all);

}  // namespace hopbench
