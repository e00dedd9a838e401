#include "base/integer_log.h"

#include <bit>

namespace hopbench {
namespace {

using Wide = unsigned __int128;

constexpr std::uint64_t ln2_q60 = 799'144'290'325'165'978U;
constexpr std::uint64_t one_ppq = 1'000'000'000'000'000U;

/// log2(m / 2^63) with 60 fractional bits, for m in [2^63, 2^64): a bit a squaring. Squarings are cut off at
/// 2^-63, and the error of the i-th counts 2^-i, so the sum stays below 2^-62.
std::uint64_t log2_q60(std::uint64_t m) {
  std::uint64_t log = 0;
  for (int bit = 59; bit >= 0; --bit) {
    const Wide square = static_cast<Wide>(m) * m;
    if ((square >> 127U) != 0) {
      log |= std::uint64_t{1} << static_cast<unsigned>(bit);
      m = static_cast<std::uint64_t>(square >> 64U);
    } else {
      m = static_cast<std::uint64_t>(square >> 63U);
    }
  }
  return log;
}

}  // namespace

std::uint64_t negative_log_q56(std::uint64_t x) {
  const auto shift = static_cast<unsigned>(std::countl_zero(x));
  // -log2(x / 2^64) = shift + 1 - log2(m / 2^63)
  const Wide log2_q60_of_x = (static_cast<Wide>(shift + 1) << 60U) - log2_q60(x << shift);
  return static_cast<std::uint64_t>((log2_q60_of_x * ln2_q60) >> 64U);
}

Rate rate_of_probability(std::uint64_t parts_per_1e15) {
  if (parts_per_1e15 == 0) return 0;
  if (parts_per_1e15 >= one_ppq / 1024) {
    const std::uint64_t survives = one_ppq - (parts_per_1e15 < one_ppq ? parts_per_1e15 : one_ppq - 1);
    return negative_log_q56(static_cast<std::uint64_t>((static_cast<Wide>(survives) << 64U) / one_ppq));
  }
  // Small p: the series p + p^2/2 + p^3/3 + ..., since 1 - p would leave few digits of p.
  const Wide p_q80 = (static_cast<Wide>(parts_per_1e15) << 80U) / one_ppq;
  const auto p_q64 = static_cast<std::uint64_t>(p_q80 >> 16U);
  Wide power_q64 = p_q64;
  Wide higher_q64 = 0;
  for (unsigned n = 2; n <= 7; ++n) {
    power_q64 = (power_q64 * p_q64) >> 64U;
    higher_q64 += power_q64 / n;
  }
  return static_cast<Rate>((p_q80 + (higher_q64 << 16U)) >> 24U);
}

}  // namespace hopbench
