// The air around the boards.
#pragma once

#include <cstdint>

#include "base/time.h"
#include "pack/spec.h"

namespace hopbench {

/// Its temperature at `at` (>= 0) in thousandths of a degree Celsius: a triangle around the mean, warmest once a day.
std::int64_t air_mc(const AirSpec& air, Nanos at);

}  // namespace hopbench
