// Whether damage keeps step with a ripple whose frequency wanders, as that of the mains does.
#pragma once

#include <cstdint>
#include <vector>

#include "base/time.h"

namespace hopbench {

/// A frame that was damaged and its twin that was not (study/evidence.h). Either may be the earlier.
struct Twins {
  Nanos damaged = 0;  // middles
  Nanos spared = 0;
};

/// Chance of the damage falling in step so well with any frequency within 0.3 % of `hz`, if which of the twins was
/// damaged is a matter of chance: never below the truth. Looks at stretches of some minutes to an hour, for each of
/// which the frequency may be another; for that some thirty frames must have died within such a stretch. `pairs`: in
/// order.
double chance_of_step(const std::vector<Twins>& pairs, int hz);

}  // namespace hopbench
