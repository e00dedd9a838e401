// Looks at a case again without a minority of its failures.
#pragma once

#include "study/candidate.h"
#include "study/cases.h"
#include "study/common.h"

namespace hopbench {

/// A minority of one symptom may be something else's. A verdict that turns into another one without it is not sure: the
/// mechanism that would clearly come first then is tied with those that come first now, at most four in all. Failures
/// on hops only. `common`: of the whole case.
void look_again(const Evidence& evidence, const Case& which, const Common& common, Judged& judged);

}  // namespace hopbench
