#include "study/ripple.h"

#include <algorithm>
#include <cmath>

#include "line/wander.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

constexpr Nanos period = 10 * millisecond;

/// A polled chain: a frame every 91.7 ms, give or take a millisecond, in twins.
template <class Dies>
std::vector<Twins> polled(std::uint64_t number, Nanos until, Dies dies) {
  Dice dice("ripple", number);
  std::vector<Twins> pairs;
  for (Nanos at = 0; at < until; at += 2 * 91'700 * microsecond) {
    const Nanos first = at + dice.between(0, millisecond);
    const Nanos second_one = at + 91'700 * microsecond + dice.between(0, millisecond);
    const bool one = dies(dice, first);
    const bool other = dies(dice, second_one);
    if (one && !other) pairs.push_back({first, second_one});
    if (other && !one) pairs.push_back({second_one, first});
  }
  return pairs;
}

}  // namespace

TEST_CASE("damage in step with a frequency that wanders is found, and which frequency") {
  const Wander wander(Luck(2).stream(name_hash("charger"), Purpose::mains_wander, 0), 1'000'000, 300 * second);
  // A frame dies, one time in ten, if it lies within 2 ms of the ripple's period: a fiftieth of all frames.
  const auto pairs = polled(1, 3'600 * second, [&](Dice& dice, Nanos at) {
    return (at + wander.ahead(at) + period) % period < 2 * millisecond && dice.one_in(10);
  });
  REQUIRE(pairs.size() > 600);
  CHECK(chance_of_step(pairs, 100) < 1e-8);
  CHECK(chance_of_step(pairs, 120) > 0.01);
  // A tenth of them is too few for stretches as short as the frequency lasts.
  std::vector<Twins> few;
  for (std::size_t i = 0; i < pairs.size(); i += 10) few.push_back(pairs[i]);
  CHECK(chance_of_step(few, 100) > 1e-4);
}

TEST_CASE("damage that comes by chance keeps step with nothing, also where all frames do") {
  int small = 0;
  for (std::uint64_t number = 0; number < 60; ++number) {
    const auto pairs = polled(number, 1'200 * second, [&](Dice& dice, Nanos) { return dice.one_in(5 + number); });
    small += std::min(chance_of_step(pairs, 100), chance_of_step(pairs, 120)) < 0.05 ? 1 : 0;
  }
  CHECK(small <= 6);  // 60 x 2 x 5 % would be 6 if the chance were exact; it is never below the truth
  // Frames that go in step with the mains themselves say nothing, whichever die.
  Dice dice("locked", 1);
  std::vector<Twins> locked;
  for (Nanos at = 0; at < 600 * second; at += 100 * period) {
    const Nanos other = at + 50 * period;
    locked.push_back(dice.one_in(2) ? Twins{at, other} : Twins{other, at});
  }
  CHECK(chance_of_step(locked, 100) > 0.05);
  CHECK(chance_of_step({}, 100) == 1);
}

}  // namespace hopbench
