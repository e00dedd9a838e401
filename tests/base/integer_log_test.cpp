// The integer logarithm against the library's, which may be used here since no record hangs on it.
#include "base/integer_log.h"

#include <algorithm>
#include <cfloat>
#include <cmath>

#include "base/luck.h"
#include "support/catch.h"

namespace hopbench {
namespace {

constexpr long double q56 = 72057594037927936.0L;  // 2^56
// The reference has to be finer than what it judges: 44 * 2^-LDBL_MANT_DIG on top of the stated 2^-50.
const long double stated_error = std::ldexp(1.0L, -50) + 64 * std::ldexp(1.0L, -LDBL_MANT_DIG);

long double reference(std::uint64_t x) { return 64 * std::log(2.0L) - std::log(static_cast<long double>(x)); }

/// Near 1 the difference of two logarithms would lose its digits.
long double reference_near_one(std::uint64_t below_2_64) {
  return -std::log1p(-std::ldexp(static_cast<long double>(below_2_64), -64));
}

long double exact_rate(std::uint64_t ppq) { return -std::log1p(-static_cast<long double>(ppq) / 1e15L) * q56; }

}  // namespace

TEST_CASE("the integer logarithm keeps its stated error over all magnitudes") {
  const StreamKey stream = Luck(7).stream(name_hash("integer log"), Purpose::test, 0);
  long double worst = 0;
  for (std::uint64_t i = 0; i < 100'000; ++i) {
    const auto [mantissa, shift] = draw2(stream, i, 0);
    const std::uint64_t x = (mantissa | 1U) >> (shift % 64U);
    if (x == 0) continue;
    worst = std::max(worst, std::abs(static_cast<long double>(negative_log_q56(x)) / q56 - reference(x)));
  }
  CHECK(worst < stated_error);
  CHECK(worst > 0);  // else nothing was compared
}

TEST_CASE("the integer logarithm at powers of two and near one") {
  for (unsigned shift = 0; shift < 64; ++shift) {
    const std::uint64_t x = std::uint64_t{1} << shift;
    CHECK(std::abs(static_cast<long double>(negative_log_q56(x)) / q56 - (64 - shift) * std::log(2.0L)) < stated_error);
  }
  for (std::uint64_t d = 1; d < std::uint64_t{1} << 60U; d *= 3) {
    CHECK(std::abs(static_cast<long double>(negative_log_q56(0 - d)) / q56 - reference_near_one(d)) < stated_error);
  }
}

TEST_CASE("the integer logarithm falls as its argument rises") {
  const StreamKey stream = Luck(7).stream(name_hash("integer log"), Purpose::test, 1);
  for (std::uint64_t i = 0; i < 20'000; ++i) {
    const std::uint64_t x = draw(stream, i, 0) >> (i % 60U);
    const std::uint64_t step = 1 + (x >> 40U);
    if (x == 0 || x > ~std::uint64_t{0} - step) continue;
    REQUIRE(negative_log_q56(x + step) <= negative_log_q56(x));
  }
}

TEST_CASE("a probability becomes the rate -ln(1 - p)") {
  CHECK(rate_of_probability(0) == 0);
  // p of a half: ln 2.
  CHECK(std::abs(static_cast<long double>(rate_of_probability(500'000'000'000'000)) - std::log(2.0L) * q56) < 64);
  long double worst_small = 0;
  long double worst = 0;
  for (std::uint64_t ppq = 1; ppq < 999'000'000'000'000; ppq += 1 + ppq / 50) {
    const long double error = std::abs(static_cast<long double>(rate_of_probability(ppq)) - exact_rate(ppq));
    // Below 1/1024 a series is used: within a few units of 2^-56, whatever p.
    long double& so_far = ppq < 1'000'000'000'000'000 / 1024 ? worst_small : worst;
    so_far = std::max(so_far, error);
  }
  CHECK(worst_small < 4);
  CHECK(worst < std::ldexp(1.0L, 56 - 50) + 128);  // 2^-50, and 2^-64 / (1 - p) of the quotient
}

TEST_CASE("the rate never falls as the probability rises, not even where the two ways of computing meet") {
  Rate before = 0;
  for (std::uint64_t ppq = 976'562'400'000; ppq < 976'562'600'000; ppq += 101) {
    const Rate rate = rate_of_probability(ppq);
    REQUIRE(rate + 2 >= before);  // two units of 2^-56 at the seam
    before = rate;
  }
  before = 0;
  for (std::uint64_t ppq = 1; ppq < 1'000'000'000'000'000; ppq += 1 + ppq / 7) {
    REQUIRE(rate_of_probability(ppq) > before);
    before = rate_of_probability(ppq);
  }
}

}  // namespace hopbench
