#include "line/coupling.h"

#include "support/catch.h"

using namespace hopbench;

namespace {

constexpr Nanos bit = 100 * microsecond;

Timing timing_at(Nanos start) { return {start, static_cast<Period>(bit) << 32U, 20, 20}; }

std::size_t strikes_in(Coupling& coupling, std::uint64_t turns, Nanos apart) {
  std::size_t count = 0;
  for (std::uint64_t turn = 0; turn < turns; ++turn) {
    const FrameKey key{name_hash("poll"), turn, 0, false, 0};
    std::vector<std::uint32_t> inverted;
    (void)coupling.noise(key, timing_at(static_cast<Nanos>(turn) * apart), 200, 0, inverted);
    count += inverted.size();
  }
  return count;
}

}  // namespace

TEST_CASE("ripple strikes within its windows only, as often as it should") {
  Coupling ripple(Luck(1), name_hash("hop"), Purpose::charger_noise, certain / 100, 1, Wander());
  CHECK(ripple.silent());
  CHECK(strikes_in(ripple, 1'000, 31 * millisecond) == 0);
  ripple.set({{10 * millisecond, 0, 2 * millisecond}});
  std::size_t count = 0;
  for (std::uint64_t turn = 0; turn < 20'000; ++turn) {
    const FrameKey key{name_hash("poll"), turn, 0, false, 0};
    const Timing timing = timing_at(static_cast<Nanos>(turn) * 31'700 * microsecond);
    std::vector<std::uint32_t> inverted;
    const bool any = ripple.noise(key, timing, 200, 0, inverted);
    REQUIRE(any == !inverted.empty());
    REQUIRE(ripple.strikes(key, timing, 200) == any);
    for (const std::uint32_t slot : inverted) {
      REQUIRE(timing.place(slot / 10, 2 * (slot % 10)) % (10 * millisecond) < 2 * millisecond);
    }
    if (any) REQUIRE(ripple.clear_until(key, 200) == turn);
    count += inverted.size();
  }
  // A fifth of 4,000,000 bits lies in a window, one in a hundred of them is hit: 8,000, standard deviation 89.
  CHECK(count > 8'000 - 450);
  CHECK(count < 8'000 + 450);
}

TEST_CASE("edges that coincide add up, and fewer edges only take hits away") {
  const auto hits = [](std::size_t trains) {
    Coupling edges(Luck(1), name_hash("hop"), Purpose::bleed_noise, certain / 1000, 64, Wander());
    edges.set(std::vector<PulseTrain>(trains, {millisecond, 0, 200 * microsecond}));
    std::vector<std::pair<std::uint64_t, std::uint32_t>> all;
    for (std::uint64_t turn = 0; turn < 20'000; ++turn) {
      std::vector<std::uint32_t> inverted;
      (void)edges.noise({name_hash("poll"), turn, 0, false, 0}, timing_at(0), 200, 0, inverted);
      for (const std::uint32_t slot : inverted) all.emplace_back(turn, slot);
    }
    return all;
  };
  const auto one = hits(1);
  const auto four = hits(4);
  // 800,000 bits in windows at one in a thousand: 800, standard deviation 28; with four at once four times that.
  CHECK(one.size() > 660);
  CHECK(one.size() < 940);
  CHECK(four.size() > 2'900);
  CHECK(four.size() < 3'500);
  CHECK(std::includes(four.begin(), four.end(), one.begin(), one.end()));
}
