#include "bus/scale.h"

#include <algorithm>
#include <limits>

namespace hopbench {
namespace {

// Pedantic mode knows no 128-bit type of its own.
__extension__ using Wide = __int128;

Wide nearest_quotient(Wide numerator, Wide denominator) {
  if (denominator < 0) {
    numerator = -numerator;
    denominator = -denominator;
  }
  const Wide half = denominator / 2;
  return numerator >= 0 ? (numerator + half) / denominator : -((-numerator + half) / denominator);
}

std::int64_t saturated(Wide value) {
  constexpr auto low = std::numeric_limits<std::int64_t>::min();
  constexpr auto high = std::numeric_limits<std::int64_t>::max();
  if (value < low) return low;
  if (value > high) return high;
  return static_cast<std::int64_t>(value);
}

}  // namespace

std::int64_t sign_extended(std::uint64_t raw, std::uint32_t bits) {
  if (bits >= 64) return static_cast<std::int64_t>(raw);
  const std::uint64_t top = std::uint64_t{1} << (bits - 1);
  const std::uint64_t low = raw & ((top << 1U) - 1);
  return static_cast<std::int64_t>((low ^ top) - top);
}

std::int64_t value_of_raw(const Scale& scale, std::uint64_t raw, std::uint32_t bits, bool is_signed) {
  const Wide number = is_signed ? static_cast<Wide>(sign_extended(raw, bits)) : static_cast<Wide>(raw);
  if (scale.den == 0) return 0;
  if (scale.num == 1 && scale.den == 1) return saturated(number + scale.offset);
  return saturated(nearest_quotient(number * scale.num, static_cast<Wide>(scale.den)) + scale.offset);
}

std::uint64_t raw_of_value(const Scale& scale, std::int64_t value, std::uint32_t bits, bool is_signed,
                           std::uint64_t limit) {
  if (scale.num == 0) return 0;
  // |value - offset| < 2^64 and den < 2^63 (a fault otherwise), so the product fits.
  const Wide raw =
      nearest_quotient((static_cast<Wide>(value) - scale.offset) * static_cast<Wide>(scale.den), scale.num);
  Wide low = 0;
  Wide high = static_cast<Wide>(limit);
  if (is_signed) {
    const Wide half = static_cast<Wide>(1) << (bits - 1);
    low = high < half - 1 ? -high : -half;  // digits reach as far down as up
    high = std::min(high, half - 1);
  }
  const Wide held = raw < low ? low : raw > high ? high : raw;
  const auto pattern = static_cast<std::uint64_t>(held);
  return bits >= 64 ? pattern : pattern & ((std::uint64_t{1} << bits) - 1);
}

}  // namespace hopbench
