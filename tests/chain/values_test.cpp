// What cells measure: a level, an offset of each cell, and a slow triangle; and that an answer carries it.
#include "stations/values.h"

#include <cmath>
#include <cstdlib>
#include <set>

#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {

TEST_CASE("a cell swings in a triangle about its level") {
  CellLevels levels;
  levels.level_uv = 3'300'000;
  levels.spread_uv = 0;
  levels.swing_uv = 20'000;
  levels.swing_period = 80 * second;
  const CellValues values(levels, Luck(1), name_hash("n1"));
  struct Point {
    Nanos at;
    std::int64_t off;
  };
  for (const Point p : {Point{0, 0}, Point{10, 10'000}, Point{20, 20'000}, Point{30, 10'000}, Point{40, 0},
                        Point{50, -10'000}, Point{60, -20'000}, Point{70, -10'000}, Point{80, 0}, Point{100, 20'000}}) {
    INFO("at " << p.at << " s");
    CHECK(std::abs(values.microvolts(0, p.at * second) - 3'300'000 - p.off) <= 1);
  }
}

TEST_CASE("cells differ from each other within their spread, and each keeps its own offset") {
  CellLevels levels;
  levels.swing_uv = 0;
  std::set<std::int64_t> seen;
  double sum = 0;
  for (int node = 0; node < 200; ++node) {
    const CellValues values(levels, Luck(1), name_hash("n" + std::to_string(node)));
    for (std::uint32_t cell = 0; cell < 16; ++cell) {
      const std::int64_t off = values.microvolts(cell, 0) - levels.level_uv;
      REQUIRE(std::abs(off) <= levels.spread_uv);
      REQUIRE(values.microvolts(cell, 1'000 * second) == levels.level_uv + off);
      seen.insert(off);
      sum += static_cast<double>(off);
    }
  }
  CHECK(seen.size() > 2'000);
  // Uniform in +-5000 uV, 3200 cells.
  CHECK(std::abs(sum / 3'200) < 4 * 5'000 / std::sqrt(3.0 * 3'200));
}

TEST_CASE("an answer carries the millivolts of the instant at which they were measured") {
  SmallChain small = small_chain(Shape::ring, 1, "readings");
  small.kind().levels.swing_period = 10 * second;
  small.kind().measurement.settle = 20 * millisecond;
  const Collector kept = small.run(10);
  const CellValues values(small.kind().levels, Luck(small.seed), name_hash("n1"));
  for (const KeptExchange& each : kept.exchanges) {
    // 14 characters out, 500 us until it begins, then cells settle.
    const Nanos taken = each.seen.start + 1'400 * microsecond + 500 * microsecond + 20 * millisecond;
    REQUIRE(each.answered.size() == 24);
    for (std::uint32_t cell = 0; cell < 4; ++cell) {
      const std::int64_t told = each.answered[14 + 2 * cell] * 256 + each.answered[15 + 2 * cell];
      CHECK(told == (values.microvolts(cell, taken) + 500) / 1'000);
    }
  }
}

}  // namespace hopbench
