// Which mechanisms a case may be of.
#pragma once

#include "study/candidate.h"
#include "study/cases.h"

namespace hopbench {

/// With hops seen; with a controller's eyes as controller_judge.h says, without simulations.
Judged judged(const Evidence& evidence, const Case& which);

}  // namespace hopbench
