// Bit edges: taken from the start of a frame, they stay where they belong however many bits there are.
#include "base/time.h"

#include <cstdlib>

#include "support/catch.h"

namespace hopbench {

TEST_CASE("a day of bits at 9600 Bd does not drift") {
  // 96 000 000 bits at 9600 a second are 10 000 s. A bit is 104 166 2/3 ns: whole nanoseconds would be 64 ms out.
  const Period period = period_of_baud(9600);
  CHECK(std::abs(span_of_bits(96'000'000, period) - 10'000 * second) <= 1);
  CHECK(std::abs(edge(5 * second, 829'440'000, period) - (5 + 86'400) * second) <= 1);
}

TEST_CASE("every edge of a long frame lies within a nanosecond of where it should, at all usual speeds") {
  for (const std::uint64_t baud :
       {300U, 1200U, 2400U, 4800U, 9600U, 19200U, 38400U, 57600U, 115200U, 230400U, 921600U}) {
    const Period period = period_of_baud(baud);
    for (std::uint64_t bits = 0; bits < 100'000; bits += 1 + bits / 9) {
      const auto exact = static_cast<Nanos>(bits * 1'000'000'000 / baud);
      REQUIRE(std::abs(span_of_bits(bits, period) - exact) <= 1);
    }
  }
}

TEST_CASE("edges rise and start at the start") {
  const Period period = period_of_baud(115'200);
  Nanos before = edge(-1'000, 0, period);
  CHECK(before == -1'000);
  for (std::uint64_t bits = 1; bits < 1'000; ++bits) {
    const Nanos here = edge(-1'000, bits, period);
    REQUIRE(here > before);
    before = here;
  }
}

}  // namespace hopbench
