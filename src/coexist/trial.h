// One promise tried on one chain.
#pragma once

#include "coexist/trial_ground.h"

namespace hopbench {

/// Deterministic: the same ground and order give the same trial. `balancing`: every cell that can be is bled meanwhile;
/// of promises that no bleeding can break there is then nothing to try.
Trial trial_of(PromiseNumber promise, const TrialGround& ground, const KindOrder& order, bool balancing);

}  // namespace hopbench
