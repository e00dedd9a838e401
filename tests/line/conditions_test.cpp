// Noise, bursts, contacts and open cables of a link: the screen is sound, the rates are right, luck stays where it
// belongs.
#include "line/conditions.h"

#include <algorithm>
#include <cmath>
#include <set>
#include <vector>

#include "support/catch.h"

namespace hopbench {
namespace {

class Dice {
 public:
  explicit Dice(std::uint64_t sub) : stream_(Luck(9).stream(name_hash("conditions"), Purpose::test, sub)) {}
  std::uint64_t up_to(std::uint64_t most) { return below(most + 1, draw(stream_, next_++, 0)); }
  Nanos between(Nanos low, Nanos high) {
    return low + static_cast<Nanos>(up_to(static_cast<std::uint64_t>(high - low)));
  }
  bool one_in(std::uint64_t n) { return up_to(n - 1) == 0; }

 private:
  StreamKey stream_;
  std::uint64_t next_ = 0;
};

LinkSpec some_link(Dice& dice) {
  LinkSpec spec;
  constexpr Ppq rates[] = {0, 1'000'000'000, 100'000'000'000, 2'000'000'000'000};
  spec.bit_error = rates[dice.up_to(3)];
  if (dice.one_in(2))
    spec.burst = {dice.between(20, 500) * millisecond, dice.between(1, 60) * millisecond,
                  certain / (2 + dice.up_to(20))};
  if (dice.one_in(2))
    spec.contact = {dice.between(20, 900) * millisecond, dice.between(1, 20'000) * microsecond, dice.one_in(2)};
  if (dice.one_in(3)) spec.opens = {{dice.between(0, 3) * second, dice.between(3, 6) * second, dice.one_in(2)}};
  return spec;
}

FrameKey key_of(std::uint64_t entry, std::uint64_t turn, std::uint8_t attempt = 0, bool answering = false) {
  FrameKey key;
  key.entry_hash = name_hash(entry, name_hash("entry"));
  key.turn = turn;
  key.attempt = attempt;
  key.answering = answering;
  return key;
}

const Period bit = period_of_baud(38400);

std::vector<std::uint32_t> noise_of(Conditions& conditions, const FrameKey& key, const Timing& timing,
                                    Strikes& strikes) {
  std::vector<std::uint32_t> inverted;
  conditions.noise(key, timing, timing.chars() * 10, 0, inverted, strikes);
  return inverted;
}

}  // namespace

TEST_CASE("a frame that is surely clean is touched by nothing") {
  Dice dice(1);
  int said_clean = 0;
  int struck = 0;
  int timid = 0;
  for (int round = 0; round < 60; ++round) {
    const LinkSpec spec = some_link(dice);
    Conditions conditions(spec, Luck(dice.up_to(1'000)), "into n1", 0);
    Nanos at = 0;
    for (std::uint64_t frame = 0; frame < 400; ++frame) {
      at += dice.between(100, 20'000) * microsecond;
      const Timing timing(at, bit, static_cast<std::uint32_t>(1 + dice.up_to(60)), 20);
      const FrameKey key = key_of(dice.up_to(3), frame, static_cast<std::uint8_t>(dice.up_to(1)), dice.one_in(2));
      const bool clean = conditions.surely_clean(key, timing, timing.chars() * 10);
      Strikes strikes;
      const auto inverted = noise_of(conditions, key, timing, strikes);
      Levels levels;
      levels.toggle(timing.start());
      levels.toggle(timing.end() - 1);
      conditions.cuts(timing, levels, strikes);
      if (clean) {
        ++said_clean;
        REQUIRE(inverted.empty());
        REQUIRE_FALSE(strikes.any());
        REQUIRE(levels.toggles().size() == 2);
        REQUIRE(levels.toggles().front() == timing.start());
      } else {
        ++(strikes.any() ? struck : timid);
      }
    }
  }
  CHECK(said_clean > 5'000);
  CHECK(struck > 2'000);
  CHECK(timid < struck);  // a screen that never says clean would be sound too
}

TEST_CASE("bits are hit as often as the spec says") {
  const double p = GENERATE(1e-2, 1e-3, 1e-4);
  LinkSpec spec;
  spec.bit_error = static_cast<Ppq>(p * 1e15);
  Conditions conditions(spec, Luck(31), "into n1", 0);
  const Timing timing(0, bit, 48, 20);  // two rows of the field, the second one in part
  const auto frames = static_cast<std::uint64_t>(400 / p / 480) + 1;
  double hits = 0;
  for (std::uint64_t turn = 0; turn < frames; ++turn) {
    Strikes strikes;
    const auto inverted = noise_of(conditions, key_of(1, turn), timing, strikes);
    hits += static_cast<double>(inverted.size());
    REQUIRE(std::is_sorted(inverted.begin(), inverted.end()));
    REQUIRE(strikes.noise == !inverted.empty());
    if (!inverted.empty()) {
      REQUIRE(strikes.first_slot == inverted.front());
      REQUIRE(inverted.back() < 480);
    }
  }
  const double n = static_cast<double>(frames) * 480;
  CHECK(std::abs(hits - n * p) < 4 * std::sqrt(n * p * (1 - p)));
}

TEST_CASE("a frame that comes in pieces is hit where it would be in one") {
  LinkSpec spec;
  spec.bit_error = 5'000'000'000'000;
  Conditions conditions(spec, Luck(32), "into n1", 0);
  for (std::uint64_t turn = 0; turn < 300; ++turn) {
    Strikes strikes;
    const auto whole = noise_of(conditions, key_of(1, turn), Timing(0, bit, 60, 20), strikes);
    std::vector<std::uint32_t> joined;
    for (std::uint32_t first = 0; first < 60; first += 7) {
      const std::uint32_t chars = std::min(7U, 60 - first);
      std::vector<std::uint32_t> part;
      Strikes unused;
      conditions.noise(key_of(1, turn), Timing(0, bit, chars, 20), chars * 10, first * 10, part, unused);
      for (const std::uint32_t slot : part) joined.push_back(first * 10 + slot);
    }
    REQUIRE(joined == whole);
  }
}

TEST_CASE("noise knows the frame, not the time, the order or the other mechanisms") {
  LinkSpec noisy;
  noisy.bit_error = 2'000'000'000'000;
  LinkSpec more = noisy;
  more.contact = {50 * millisecond, 10 * millisecond, true};
  more.opens = {{0, second, false}};
  Conditions alone(noisy, Luck(33), "into n1", 0);
  Conditions among(more, Luck(33), "into n1", 0);
  Conditions elsewhere(noisy, Luck(33), "into n2", 0);
  int differ = 0;
  for (std::uint64_t turn = 0; turn < 400; ++turn) {
    Strikes strikes;
    const auto hits = noise_of(alone, key_of(1, turn), Timing(static_cast<Nanos>(turn) * second, bit, 40, 20), strikes);
    const auto others = noise_of(among, key_of(1, turn), Timing(7 * second, bit, 40, 20), strikes);
    REQUIRE(hits == others);
    if (noise_of(elsewhere, key_of(1, turn), Timing(0, bit, 40, 20), strikes) != hits) ++differ;
    if (noise_of(alone, key_of(1, turn, 1), Timing(0, bit, 40, 20), strikes) != hits) ++differ;
    if (noise_of(alone, key_of(1, turn, 0, true), Timing(0, bit, 40, 20), strikes) != hits) ++differ;
    if (noise_of(alone, key_of(2, turn), Timing(0, bit, 40, 20), strikes) != hits) ++differ;
  }
  CHECK(differ > 800);
}

TEST_CASE("less noise is a part of more noise") {
  LinkSpec low;
  low.bit_error = 300'000'000'000;
  LinkSpec high;
  high.bit_error = 3'000'000'000'000;
  Conditions quiet(low, Luck(34), "into n1", 0);
  Conditions loud(high, Luck(34), "into n1", 0);
  std::size_t few = 0;
  std::size_t many = 0;
  for (std::uint64_t turn = 0; turn < 2'000; ++turn) {
    Strikes strikes;
    const auto some = noise_of(quiet, key_of(1, turn), Timing(0, bit, 40, 20), strikes);
    const auto all = noise_of(loud, key_of(1, turn), Timing(0, bit, 40, 20), strikes);
    REQUIRE(std::includes(all.begin(), all.end(), some.begin(), some.end()));
    few += some.size();
    many += all.size();
  }
  CHECK(few > 100);
  CHECK(many > 5 * few);
}

TEST_CASE("a burst hits bits inside it and none outside it, and nearly all of a long one") {
  LinkSpec spec;
  spec.burst = {30 * millisecond, 3 * millisecond, certain / 2};
  const Luck luck(36);
  Conditions conditions(spec, luck, "into n1", 0);
  Sojourns state(luck.stream(name_hash("into n1"), Purpose::burst_sojourn, 0), 30 * millisecond, 3 * millisecond, 0);
  double inside = 0;
  double hit = 0;
  std::size_t in_part = 0;
  for (std::uint64_t turn = 0; turn < 2'000; ++turn) {
    const Timing timing(static_cast<Nanos>(turn) * 20 * millisecond, bit, 40, 20);  // 10.4 ms of bits
    Strikes strikes;
    const auto inverted = noise_of(conditions, key_of(1, turn), timing, strikes);
    REQUIRE_FALSE(strikes.noise);
    REQUIRE(strikes.burst == !inverted.empty());
    const std::set<std::uint32_t> hits(inverted.begin(), inverted.end());
    std::size_t bad_bits = 0;
    std::size_t hit_outside = 0;
    for (std::uint32_t slot = 0; slot < 400; ++slot) {
      const Nanos at = timing.place(slot / 10, 2 * (slot % 10));
      const bool bad = state.bad_after(at).from <= at;
      bad_bits += bad ? 1U : 0U;
      if (!bad) hit_outside += hits.count(slot);
    }
    REQUIRE(hit_outside == 0);
    if (bad_bits > 0 && bad_bits < 400) ++in_part;
    inside += static_cast<double>(bad_bits);
    hit += static_cast<double>(hits.size());
  }
  CHECK(in_part > 300);
  CHECK(std::abs(hit - inside / 2) < 4 * std::sqrt(inside / 4));  // one in two
}

TEST_CASE("an open cable reads as told, for as long as told") {
  const bool low = GENERATE(true, false);
  LinkSpec spec;
  spec.opens = {{1'000, 2'000, low}};
  Conditions conditions(spec, Luck(35), "into n1", 0);
  const Timing timing(500, Period{100} << 32U, 2, 20);  // 500..2500
  Levels levels;
  levels.toggle(500);
  levels.toggle(900);
  levels.toggle(1'500);
  levels.toggle(2'200);
  Strikes strikes;
  conditions.cuts(timing, levels, strikes);
  CHECK(strikes.open);
  CHECK_FALSE(strikes.contact);
  CHECK(levels.at(950));
  CHECK(levels.at(1'000) == !low);
  CHECK(levels.at(1'999) == !low);
  CHECK_FALSE(levels.at(2'000));
  CHECK(levels.at(2'200));
  CHECK_FALSE(conditions.surely_clean(key_of(1, 0), timing, 20));
  CHECK(conditions.surely_clean(key_of(1, 0), Timing(2'000, Period{100} << 32U, 2, 20), 20));
}

}  // namespace hopbench
