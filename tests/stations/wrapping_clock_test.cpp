#include "stations/wrapping_clock.h"

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("a clock of 32 bits that counts milliseconds goes round after 49.7 days") {
  // 2^32 ms = 49 d 17 h 2 min 47.296 s: arithmetic.
  const Nanos round = (((49 * 24 + 17) * 60 + 2) * 60 + 47) * second + 296 * millisecond;
  const WrappingClock clock({32, millisecond, 0}, 200 * millisecond);
  REQUIRE(clock.ever());
  CHECK_FALSE(clock.within_time_out(round - 201 * millisecond));
  CHECK(clock.within_time_out(round - 200 * millisecond));
  CHECK(clock.within_time_out(round - 1));
  CHECK_FALSE(clock.within_time_out(round));
  CHECK(clock.calm_until(round - 100 * millisecond) == round - 100 * millisecond);
}

TEST_CASE("until its calm is over no time-out is cut short, and the calm is no more than two ticks too short") {
  const WrappingClock clock({8, millisecond, 200}, 20 * millisecond);
  for (Nanos at = 0; at < 600 * millisecond; at += 137 * microsecond) {
    const Nanos calm = clock.calm_until(at);
    if (clock.within_time_out(at)) {
      REQUIRE(calm == at);
      continue;
    }
    REQUIRE(calm >= at);
    for (Nanos then = at; then <= calm; then += 137 * microsecond) REQUIRE_FALSE(clock.within_time_out(then));
    REQUIRE(clock.within_time_out(calm + 2 * millisecond));
  }
  CHECK(WrappingClock({0, millisecond, 0}, second).calm_until(5) == never);
}
