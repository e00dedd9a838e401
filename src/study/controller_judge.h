// What may be behind failures of which only the controller's end was seen.
#pragma once

#include "study/candidate.h"
#include "study/reproduce.h"

namespace hopbench {

/// All that are not rejected are named together: from the controller they cannot be told apart. A mechanism is rejected
/// if it cannot account for at least `least_part` of the case's failures: none of its runs left any of their kind, or a
/// mark is beyond all that its runs left. `reproduced`: null, or without runs: by what is impossible for a mechanism
/// whatever the chain.
Judged judged_at_controller(const Evidence& evidence, const Case& which, const Reproduced* reproduced);

/// Whether a mechanism can leave such failures at all, on whatever chain.
bool can_leave(Mechanism mechanism, Family family);

inline constexpr double least_part = 1.0 / 3;

}  // namespace hopbench
