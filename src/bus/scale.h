// Raw numbers on the wire to values in a unit, and back.
#pragma once

#include <cstdint>

#include "bus/description.h"

namespace hopbench {

/// raw read as a two's complement number of `bits` bits.
[[nodiscard]] std::int64_t sign_extended(std::uint64_t raw, std::uint32_t bits);

/// (raw * num) / den + offset, rounded to the nearest (halves away from zero), saturated to 64 bits.
[[nodiscard]] std::int64_t value_of_raw(const Scale& scale, std::uint64_t raw, std::uint32_t bits, bool is_signed);

/// The raw number whose value comes nearest, saturated to what the field can hold: 0..limit, or the
/// range of `bits` two's complement bits.
[[nodiscard]] std::uint64_t raw_of_value(const Scale& scale, std::int64_t value, std::uint32_t bits, bool is_signed,
                                         std::uint64_t limit);

}  // namespace hopbench
