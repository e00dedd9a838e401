#include "soak/clock_watch.h"

#include "support/catch.h"

namespace hopbench {
namespace {

constexpr Nanos look_every = 50 * millisecond;

/// A computer of which the test says what its clocks do.
struct Computer {
  ClockReading now{1'795'000'000 * second, 5000 * second, 5600 * second};
  ClockWatch watch{now};
  std::optional<ClockWatch::Event> after(Nanos steady, Nanos slept, Nanos set_by) {
    now.steady += steady;
    now.since_start += steady + slept;
    now.wall += steady + slept + set_by;
    return watch.look(now);
  }
};

}  // namespace

TEST_CASE("soak: a clock that is kept right is no clock that was set") {
  Computer computer;
  // 500 parts in a million, the most that the kernel slews by (adjtimex(2)), also where nobody looked for a minute.
  for (int i = 0; i < 2000; ++i) CHECK_FALSE(computer.after(look_every, 0, 25 * microsecond));
  CHECK_FALSE(computer.after(60 * second, 0, -30 * millisecond));
}

TEST_CASE("soak: a clock that was set is noticed once, by how much and which way") {
  Computer computer;
  REQUIRE_FALSE(computer.after(look_every, 0, 0));
  const auto forward = computer.after(look_every, 0, 3600 * second);
  REQUIRE(forward);
  CHECK(forward->set_by == 3600 * second);
  CHECK(forward->slept == 0);
  CHECK_FALSE(computer.after(look_every, 0, 0));
  const auto back = computer.after(look_every, 0, -7200 * second);
  REQUIRE(back);
  CHECK(back->set_by == -7200 * second);
}

TEST_CASE("soak: a computer that slept is not one whose clock was set") {
  Computer computer;
  const auto slept = computer.after(look_every, 90 * second, 0);
  REQUIRE(slept);
  CHECK(slept->slept == 90 * second);
  CHECK(slept->set_by == 0);
  // When it wakes, its clock is put right: both.
  const auto both = computer.after(look_every, 90 * second, 2 * second);
  REQUIRE(both);
  CHECK(both->slept == 90 * second);
  CHECK(both->set_by == 2 * second);
}

}  // namespace hopbench
