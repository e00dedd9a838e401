#include "stations/off_times.h"

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("off times are found by any part of them, the first one first, with why") {
  OffTimes off;
  off.add(500, 600, Cause::watchdog);
  off.add(100, 200, Cause::injected_reset);
  CHECK(off.any_in(199, 300));
  CHECK_FALSE(off.any_in(200, 500));
  CHECK(off.any_in(0, 101));
  CHECK_FALSE(off.any_in(0, 100));
  CHECK(off.first_in(0, 1000) == 100);
  CHECK(off.first_in(150, 1000) == 150);
  CHECK(off.first_in(200, 400) == 400);
  CHECK(off.why_in(0, 1000) == Cause::injected_reset);
  CHECK(off.why_in(300, 1000) == Cause::watchdog);
  CHECK(off.why_in(300, 400) == Cause::none);
}

TEST_CASE("what has no end yet lasts until it is given one") {
  OffTimes off;
  CHECK(off.ends_at(7) == never);
  off.add(100, never, Cause::brown_out);
  CHECK(off.any_in(1'000'000, 1'000'001));
  CHECK_FALSE(off.starts_in(0, 1'000, 50));
  CHECK(off.ends_at(300) == 300);
  CHECK_FALSE(off.any_in(300, 400));
  CHECK(off.starts_in(0, 251, 50));
  CHECK_FALSE(off.starts_in(0, 250, 50));
  CHECK_FALSE(off.starts_in(300, 400, 50));
  off.forget_before(300);
  CHECK(off.any_in(299, 300));
  off.forget_before(301);
  CHECK_FALSE(off.any_in(0, 1'000));
}
