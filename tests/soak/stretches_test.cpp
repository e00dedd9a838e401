#include "soak/stretches.h"

#include <array>
#include <vector>

#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

/// One requirement, counts that were drawn for each unit of time (a minute, or a cycle).
struct Fed {
  Stretches stretches;
  std::vector<SoakCount> each;  // of each unit
  std::size_t untested = 0;     // units in stretches in which nothing was counted when they ended

  Fed(Nanos cycle, std::size_t units) : stretches(1, 0, cycle) {
    Dice dice("stretches", units);
    SoakCount so_far;
    std::uint64_t at_border = 0;  // trials
    const Nanos unit = cycle > 0 ? cycle : 60 * second;
    for (std::size_t i = 0; i < units; ++i) {
      const std::uint64_t trials = dice.up_to(100);
      const std::uint64_t hits = dice.up_to(trials);
      each.push_back({hits, trials, 0});
      so_far.hits += hits;
      so_far.trials += trials;
      if (stretches.next_border() != static_cast<Nanos>(i + 1) * unit) continue;
      if (so_far.trials == at_border) untested += static_cast<std::size_t>(stretches.length() / unit);
      at_border = so_far.trials;
      stretches.pass_border(std::array{so_far});
    }
  }
};

}  // namespace

TEST_CASE("stretches: what lies in one is what was counted in it, however long they have become") {
  std::size_t untested = 0;
  for (const Nanos cycle : {Nanos{0}, 7200 * second}) {
    for (const std::size_t units : {1U, 511U, 512U, 513U, 5000U}) {
      const Fed fed(cycle, units);
      CAPTURE(cycle, units);
      const auto counted = fed.stretches.of(0);
      REQUIRE(counted.size() == fed.stretches.count());
      CHECK(counted.size() < 512);
      const auto in_one = static_cast<std::size_t>(fed.stretches.length() / (cycle > 0 ? cycle : 60 * second));
      CHECK(counted.size() == units / in_one);
      for (std::size_t i = 0; i < counted.size(); ++i) {
        Counted expected;
        for (std::size_t j = i * in_one; j < (i + 1) * in_one; ++j) {
          expected.hits += static_cast<double>(fed.each[j].hits);
          expected.trials += static_cast<double>(fed.each[j].trials);
        }
        CHECK(counted[i].hits == expected.hits);
        CHECK(counted[i].trials == expected.trials);
      }
      // A cycle in which nothing was tested shows nothing.
      CHECK(fed.stretches.whole_cycles() == (cycle > 0 ? counted.size() * in_one - fed.untested : 0));
      untested += fed.untested;
    }
  }
  CHECK(untested > 0);
}

TEST_CASE("stretches: put back they go on as if nothing had been") {
  Fed fed(0, 700);
  Archive down;
  fed.stretches.keep(down);
  down.end();
  REQUIRE(down.good());
  Stretches again(1, 0, 0);
  Archive up(down.bytes());
  again.keep(up);
  up.end();
  REQUIRE(up.why() == "");
  CHECK(again.next_border() == fed.stretches.next_border());
  SoakCount so_far = fed.stretches.at_border(0);
  for (int i = 0; i < 400; ++i) {
    so_far.trials += 10;
    fed.stretches.pass_border(std::array{so_far});
    again.pass_border(std::array{so_far});
  }
  REQUIRE(again.count() == fed.stretches.count());
  for (std::size_t i = 0; i < again.count(); ++i) {
    CHECK(again.of(0)[i].hits == fed.stretches.of(0)[i].hits);
    CHECK(again.of(0)[i].trials == fed.stretches.of(0)[i].trials);
  }
}

}  // namespace hopbench
