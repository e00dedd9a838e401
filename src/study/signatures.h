// Which mechanisms a case may be of.
#pragma once

#include "study/candidate.h"
#include "study/cases.h"

namespace hopbench {

/// With hops seen, or with a controller's eyes.
Judged judged(const Evidence& evidence, const Case& which);

/// With a controller's eyes. Inner part.
Judged judged_at_controller(const Evidence& evidence, const Case& which);

}  // namespace hopbench
