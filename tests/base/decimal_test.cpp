#include "base/decimal.h"

#include <limits>
#include <string>

#include "support/catch.h"

using hopbench::DecimalFault;
using hopbench::scale_decimal;

namespace {

constexpr std::int64_t largest = std::numeric_limits<std::int64_t>::max();

std::int64_t value(std::string_view text, std::uint64_t factor, bool exponent = true) {
  std::int64_t result = -1;
  REQUIRE(scale_decimal(text, factor, exponent, result) == DecimalFault::none);
  return result;
}

DecimalFault fault(std::string_view text, std::uint64_t factor, bool exponent = true) {
  std::int64_t result = -1;
  return scale_decimal(text, factor, exponent, result);
}

}  // namespace

TEST_CASE("decimal text is taken exactly") {
  CHECK(value("0", 1) == 0);
  CHECK(value("0.000", 7) == 0);
  CHECK(value("0.1", 10) == 1);
  CHECK(value("00012", 1) == 12);
  CHECK(value("1.50", 2) == 3);
  CHECK(value("1e-6", 1'000'000'000'000'000) == 1'000'000'000);
  CHECK(value("2.5E+3", 1) == 2'500);
  CHECK(value("0.0000000000000001e16", 1) == 1);
  CHECK(value("9223372036854775807", 1) == largest);
  CHECK(value("9.223372036854775807", 1'000'000'000'000'000'000) == largest);
}

TEST_CASE("factors cancel what the point takes away") {
  // A day is 2^7 * 3^3 * 5^2 seconds: an eighth of it is whole, a thousandth is not 86.4 s by rounding.
  CHECK(value("0.125", 86'400) == 10'800);
  CHECK(fault("0.001", 86'400) == DecimalFault::too_fine);
  CHECK(value("0.0009765625", 1'024) == 1);
}

TEST_CASE("what is no decimal number is refused") {
  for (const char* text : {"", ".", ".5", "5.", "-1", "+1", " 1", "1 ", "1e", "1e+", "0x10", "nan", "inf", "1_000",
                           "1,5", "1.2.3", "e5"}) {
    INFO(text);
    CHECK(fault(text, 1) == DecimalFault::not_a_number);
  }
  CHECK(fault("1e3", 1, false) == DecimalFault::not_a_number);
}

TEST_CASE("what is too fine or too large is refused, whatever its length") {
  CHECK(fault("0.1", 1) == DecimalFault::too_fine);
  CHECK(fault("1e-16", 1'000'000'000'000'000) == DecimalFault::too_fine);
  CHECK(fault("1e-999999999999999999999", 1) == DecimalFault::too_fine);
  CHECK(fault("9223372036854775808", 1) == DecimalFault::too_large);
  CHECK(fault("1e19", 1) == DecimalFault::too_large);
  CHECK(fault("1e999999999999999999999", 1) == DecimalFault::too_large);
  CHECK(fault(std::string(5'000, '9'), 1) == DecimalFault::too_large);
  CHECK(fault("0." + std::string(5'000, '3'), 1) == DecimalFault::too_fine);
  CHECK(value("1" + std::string(50, '0') + "e-50", 1) == 1);
}
