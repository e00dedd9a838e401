#include "line/wander.h"

#include <algorithm>
#include <cmath>

#include "line/coupling.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

const StreamKey stream = Luck(3).stream(name_hash("charger"), Purpose::mains_wander, 0);

}  // namespace

TEST_CASE("a frequency that wanders is off by no more than stated, by another share every so often, without a jump") {
  constexpr std::int64_t most_ppb = 1'000'000;  // 0.1 %
  constexpr Nanos every = 300 * second;
  const Wander wander(stream, most_ppb, every);
  double least = 0;
  double most = 0;
  for (std::int64_t interval = 0; interval < 2'000; ++interval) {
    const Nanos from = interval * every;
    const Nanos third = every / 3;
    const auto moved = static_cast<double>(wander.ahead(from + 2 * third) - wander.ahead(from + third));
    const double share = moved / static_cast<double>(third);
    REQUIRE(std::abs(share) <= 1e-3 + 1e-9);
    least = std::min(least, share);
    most = std::max(most, share);
    // As fast in all of the interval, and from its end on where it stood.
    REQUIRE(static_cast<double>(wander.ahead(from + third) - wander.ahead(from)) == Approx(moved).margin(3));
    REQUIRE(std::abs(wander.ahead(from + every) - wander.ahead(from + every - 1)) <= 2);
  }
  // The difference of two uniform draws: within 5 % of its ends in one of 400 each.
  CHECK(least < -0.9e-3);
  CHECK(most > 0.9e-3);
  // Looked up anywhere, also back.
  const Nanos before = wander.ahead(17 * every + 5);
  (void)wander.ahead(1'000 * every);
  CHECK(wander.ahead(17 * every + 5) == before);
  CHECK(Wander().ahead(1'000 * every) == 0);
}

TEST_CASE("ripple that wanders strikes as often, and not in step with its nominal period") {
  const auto phases = [](const Wander& wander) {
    Coupling ripple(Luck(1), name_hash("hop"), Purpose::charger_noise, certain / 100, 1, wander);
    ripple.set({{10 * millisecond, 0, millisecond}});
    std::pair<double, double> sum;
    double count = 0;
    for (std::uint64_t turn = 0; turn < 20'000; ++turn) {
      const Timing timing{static_cast<Nanos>(turn) * 31'700 * microsecond,
                          static_cast<Period>(100 * microsecond) << 32U, 20, 20};
      std::vector<std::uint32_t> inverted;
      (void)ripple.noise({name_hash("poll"), turn, 0, false, 0}, timing, 200, 0, inverted);
      for (const std::uint32_t slot : inverted) {
        const Nanos at = timing.place(slot / 10, 2 * (slot % 10)) % (10 * millisecond);
        const double angle = static_cast<double>(at) / 1e7 * 2 * 3.14159265358979;
        sum.first += std::cos(angle);
        sum.second += std::sin(angle);
        count += 1;
      }
    }
    return std::pair(count, std::hypot(sum.first, sum.second) / count);
  };
  const auto [steady, in_step] = phases(Wander());
  const auto [wanders, less] = phases(Wander(stream, 1'000'000, 10 * second));
  // A tenth of 4,000,000 bits lies in a window, one in a hundred of them is hit: 4,000, standard deviation 63.
  CHECK(steady == Approx(4'000).margin(300));
  CHECK(wanders == Approx(4'000).margin(300));
  CHECK(in_step > 0.9);
  CHECK(less < 0.6);
}
