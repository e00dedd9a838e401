// First-order lag on a fixed grid, in integers.
#pragma once

#include <cstdint>

#include "base/time.h"

namespace hopbench {

/// 1 - exp(-step / tau) in parts of 2^32, for step >= 0 and tau > 0. Error below 2^-30.
std::uint64_t decay_share(Nanos step, Nanos tau);

/// One step of a lag from `now` toward `target` by that share. What is left of the way at last is gone in steps of 1,
/// so that the target is reached.
std::int64_t decay_toward(std::int64_t now, std::int64_t target, std::uint64_t share);

}  // namespace hopbench
