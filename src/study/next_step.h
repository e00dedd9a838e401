// What to do next about a case.
#pragma once

#include <cstddef>
#include <vector>

#include "study/advice.h"
#include "study/candidate.h"
#include "study/cases.h"

namespace hopbench {

/// What would tell the first candidates apart, or prove the first.
Advice next_step(const Evidence& evidence, const Case& which, const std::vector<Candidate>& candidates,
                 std::size_t tied);

/// What would tell apart what a controller cannot. `counters_told`: nodes are asked for their counters as it is.
Advice told_apart_by(const Evidence& evidence, bool counters_told);

}  // namespace hopbench
