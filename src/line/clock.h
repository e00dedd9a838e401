// From what is said of a station's clock to the length of its bit.
#pragma once

#include <cstdint>

#include "base/luck.h"
#include "base/time.h"
#include "line/spec.h"

namespace hopbench {

/// Divisor that comes nearest to `baud`: oscillator / (oversampling * baud), rounded to the nearest, at least 1.
std::uint32_t nearest_divisor(std::uint64_t oscillator_hz, std::uint32_t oversampling, std::uint64_t baud);

/// Bit of a station by its own clock: nominal, divisor rounding, error, and a trim drawn by the station's name.
/// A clock that is 1 % fast has bits 1 % shorter (divided by 1.01).
Period period_of(const ClockSpec& clock, std::uint64_t baud, const Luck& luck, std::uint64_t station_hash);

}  // namespace hopbench
