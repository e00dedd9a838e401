#include "pack/air.h"

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("the air is warmest once a day and coldest half a day later") {
  const AirSpec air{20'000, 6'000, 14 * 3600 * second};
  CHECK(air_mc(air, 14 * 3600 * second) == 26'000);
  CHECK(air_mc(air, 2 * 3600 * second) == 14'000);
  CHECK(air_mc(air, 8 * 3600 * second) == 20'000);
  CHECK(air_mc(air, 20 * 3600 * second) == 20'000);
  CHECK(air_mc(air, (24 + 14) * 3600 * second) == 26'000);
  CHECK(air_mc({20'000, 0, 0}, 5 * second) == 20'000);
}
