// Levels of a line against a plain array of one level per nanosecond.
#include "line/levels.h"

#include <algorithm>
#include <array>
#include <functional>

#include "base/luck.h"
#include "support/catch.h"

namespace hopbench {
namespace {

constexpr Nanos length = 40;

class Dice {
 public:
  explicit Dice(std::uint64_t sub) : stream_(Luck(6).stream(name_hash("levels"), Purpose::test, sub)) {}
  Nanos up_to(Nanos most) {
    return static_cast<Nanos>(below(static_cast<std::uint64_t>(most) + 1, draw(stream_, next_++, 0)));
  }

 private:
  StreamKey stream_;
  std::uint64_t next_ = 0;
};

struct Plain {
  std::array<bool, length> high{};
  Plain() { high.fill(true); }
  void toggle(Nanos at) {
    for (Nanos t = at; t < length; ++t) high[static_cast<std::size_t>(t)] = !high[static_cast<std::size_t>(t)];
  }
  void force(Nanos from, Nanos to, bool level) {
    for (Nanos t = from; t < std::min(to, length); ++t) high[static_cast<std::size_t>(t)] = level;
  }
  void invert(Nanos from, Nanos to) {
    for (Nanos t = from; t < std::min(to, length); ++t)
      high[static_cast<std::size_t>(t)] = !high[static_cast<std::size_t>(t)];
  }
};

void require_same(const Levels& levels, const Plain& plain) {
  Nanos first_difference = 0;
  while (first_difference < length &&
         levels.at(first_difference) == plain.high[static_cast<std::size_t>(first_difference)])
    ++first_difference;
  REQUIRE(first_difference == length);
  REQUIRE(levels.at(-1));
  // Rising, no instant twice.
  const auto toggles = levels.toggles();
  REQUIRE(std::adjacent_find(toggles.begin(), toggles.end(), std::greater_equal<>{}) == toggles.end());
}

}  // namespace

TEST_CASE("a line is high until told otherwise, and two changes at one instant are none") {
  Levels levels;
  CHECK(levels.at(0));
  CHECK(levels.last());
  levels.toggle(5);
  CHECK(levels.at(4));
  CHECK_FALSE(levels.at(5));
  CHECK_FALSE(levels.last());
  levels.toggle(5);
  CHECK(levels.toggles().empty());
}

TEST_CASE("force and invert do at every nanosecond what they say") {
  Dice dice(1);
  for (int round = 0; round < 10'000; ++round) {
    Levels levels;
    Plain plain;
    Nanos at = 0;
    const Nanos toggles = dice.up_to(8);
    for (Nanos i = 0; i < toggles; ++i) {
      at += dice.up_to(6);
      if (at >= length) break;
      levels.toggle(at);
      plain.toggle(at);
    }
    for (int step = 0; step < 4; ++step) {
      const Nanos from = dice.up_to(length - 1);
      const Nanos to = from + dice.up_to(length - 1 - from);
      if (dice.up_to(1) == 0) {
        const bool high = dice.up_to(1) == 0;
        levels.force(from, to, high);
        plain.force(from, to, high);
      } else {
        levels.invert(from, to);
        plain.invert(from, to);
      }
      require_same(levels, plain);
    }
  }
}

TEST_CASE("shifting moves everything, forgetting keeps what follows") {
  Levels levels;
  for (const Nanos at : {3, 9, 12, 20}) levels.toggle(at);
  levels.shift(100);
  CHECK(levels.at(102));
  CHECK_FALSE(levels.at(103));
  CHECK(levels.at(109));
  levels.forget_before(110);
  CHECK(levels.toggles().size() == 2);
  CHECK(levels.at(111));
  CHECK_FALSE(levels.at(112));
  CHECK(levels.at(120));
}

}  // namespace hopbench

TEST_CASE("stretched low levels end later, and highs that are shorter vanish") {
  hopbench::Levels levels;
  for (const hopbench::Nanos at : {100, 200, 300, 400, 410, 500}) levels.toggle(at);
  hopbench::Levels longer = levels;
  longer.stretch_lows(20);
  const auto seen = longer.toggles();
  CHECK(std::vector<hopbench::Nanos>(seen.begin(), seen.end()) == std::vector<hopbench::Nanos>{100, 220, 300, 520});
  hopbench::Levels shorter = levels;
  shorter.stretch_lows(-95);
  const auto left = shorter.toggles();
  // The low of 90 ns is gone, the others last 5.
  CHECK(std::vector<hopbench::Nanos>(left.begin(), left.end()) == std::vector<hopbench::Nanos>{100, 105, 300, 305});
}
