#include "soak/days.h"

#include <array>
#include <vector>

#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

/// Days of 10,000 exchanges with some failures and times that vary a little. The same number gives the same days.
std::vector<SoakDay> ordinary(std::uint64_t number, std::size_t days) {
  Dice dice("days", number);
  std::vector<SoakDay> all(days);
  for (std::size_t i = 0; i < days; ++i) {
    all[i].from = static_cast<Nanos>(i) * 86'400 * second;
    all[i].asked = 10'000;
    all[i].failed = 20 + dice.up_to(20);
    all[i].round_trip_median = 200 * millisecond + dice.between(0, millisecond);
    all[i].round_trip_longest = 300 * millisecond + dice.between(0, 50 * millisecond);
    all[i].unseen = 30 * second + dice.between(0, 10 * second);
    all[i].coldest_mc = 10'000;
    all[i].warmest_mc = 40'000 + static_cast<std::int32_t>(dice.up_to(2'000));
  }
  return all;
}

}  // namespace

TEST_CASE("days: a change is found in the figure that changed, at the day when it did") {
  auto days = ordinary(1, 60);
  for (std::size_t i = 25; i < days.size(); ++i) days[i].failed += 15;
  auto found = changes_in(days);
  REQUIRE(found.size() == 1);
  CHECK(found[0].trend == SoakTrend::failures);
  CHECK(found[0].first_after >= 23);
  CHECK(found[0].first_after <= 27);
  CHECK(found[0].after > found[0].before + 0.001);
  CHECK(found[0].p < 0.01);

  days = ordinary(2, 60);
  for (std::size_t i = 40; i < days.size(); ++i) *days[i].warmest_mc += 3'000;
  found = changes_in(days);
  REQUIRE(found.size() == 1);
  CHECK(found[0].trend == SoakTrend::warmest);
  CHECK(found[0].first_after >= 33);
  CHECK(found[0].first_after <= 42);
  CHECK(found[0].after > found[0].before + 2'000);
}

TEST_CASE("days: where nothing changes hardly ever a change is told") {
  std::size_t told = 0;
  for (std::uint64_t number = 10; number < 310; ++number) told += changes_in(ordinary(number, 40)).empty() ? 0 : 1;
  // One in a hundred soaks: 3 of 300, and four standard deviations more.
  CHECK(told <= 10);
}

TEST_CASE("days: fewer than ten days, days without traffic, figures that some days lack") {
  auto nine = ordinary(3, 9);
  for (std::size_t i = 5; i < nine.size(); ++i) nine[i].failed = 5'000;
  CHECK(changes_in(nine).empty());
  auto days = ordinary(4, 40);
  for (std::size_t i = 20; i < days.size(); ++i) days[i].failed += 30;
  days[7].asked = 0;
  days[9].round_trip_median.reset();
  // Of what some day lacks nothing is told.
  CHECK(changes_in(days).empty());
}

TEST_CASE("days: put back they are the same") {
  auto days = ordinary(5, 3);
  days[1].warmest_mc.reset();
  days[2].round_trip_longest.reset();
  for (auto& day : days) {
    Archive down;
    day.keep(down);
    down.end();
    SoakDay again;
    Archive up(down.bytes());
    again.keep(up);
    up.end();
    CHECK(up.why() == "");
    CHECK(again == day);
  }
}

}  // namespace hopbench
