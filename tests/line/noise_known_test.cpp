// What a link remembers of its noise between two frames must not show: whatever is asked in whatever order, the slots
// that are hit are those of the field, looked up one by one.
#include <algorithm>
#include <vector>

#include "base/luck.h"
#include "base/noise_field.h"
#include "line/conditions.h"
#include "support/catch.h"

namespace hopbench {
namespace {

class Dice {
 public:
  explicit Dice(std::uint64_t sub) : stream_(Luck(31).stream(name_hash("noise known"), Purpose::test, sub)) {}
  std::uint64_t up_to(std::uint64_t most) { return below(most + 1, draw(stream_, next_++, 0)); }
  bool one_in(std::uint64_t n) { return up_to(n - 1) == 0; }

 private:
  StreamKey stream_;
  std::uint64_t next_ = 0;
};

const Luck luck(77);
const char* const link_name = "into n2";

/// The row of the field for these slots of a frame, as its identity names it.
StreamKey row_of(const FrameKey& key, std::uint32_t row) {
  const std::uint64_t sub = (static_cast<std::uint64_t>(row) << 24U) | (static_cast<std::uint64_t>(key.copy) << 16U) |
                            (static_cast<std::uint64_t>(key.attempt) << 8U) | (key.answering ? 1U : 0U);
  return luck.stream(name_hash(key.entry_hash, name_hash(link_name)), Purpose::bit_noise, sub);
}

/// Slots first..first+slots-1 that are hit, counted from `first`: every bit is asked for by itself.
std::vector<std::uint32_t> one_by_one(const FrameKey& key, Ppq bit_error, std::uint32_t first, std::uint32_t slots) {
  std::vector<std::uint32_t> hit;
  for (std::uint32_t slot = first; slot < first + slots; ++slot) {
    const std::uint32_t bit = slot % field_row_bits;
    NoisePoint point;
    if (first_point(row_of(key, slot / field_row_bits), key.turn, bit, rate_of_probability(bit_error), key.turn,
                    point) &&
        point.bit == bit) {
      hit.push_back(slot - first);
    }
  }
  return hit;
}

}  // namespace

TEST_CASE("noise is that of the field in any order of turns, frames, lengths and pieces") {
  constexpr Ppq rates[] = {1'000'000, 1'000'000'000'000, 5'000'000'000'000, certain / 10};
  for (std::uint64_t round = 0; round < 24; ++round) {
    Dice dice(round);
    LinkSpec spec;
    spec.bit_error = rates[dice.up_to(3)];
    Conditions conditions(spec, luck, link_name, 0);
    std::uint64_t turn = dice.up_to(3) * 65'530;
    for (int call = 0; call < 120; ++call) {
      FrameKey key;
      key.entry_hash = name_hash(dice.up_to(1), name_hash("entry"));
      key.attempt = static_cast<std::uint8_t>(dice.up_to(1));
      key.answering = dice.one_in(2);
      key.copy = dice.one_in(5) ? 1 : 0;
      // Mostly a little on, sometimes back, sometimes the same again.
      turn = dice.one_in(4) ? turn - std::min<std::uint64_t>(turn, dice.up_to(4)) : turn + dice.up_to(3);
      key.turn = turn;
      const auto chars = static_cast<std::uint32_t>(1 + dice.up_to(70));
      const std::uint32_t slots = 10 * chars;
      const std::uint32_t first = dice.one_in(3) ? static_cast<std::uint32_t>(dice.up_to(600)) : 0;
      const Timing timing(static_cast<Nanos>(turn) * second, period_of_baud(9600), chars, 20);
      const auto expected = one_by_one(key, spec.bit_error, first, slots);
      if (first == 0 && dice.one_in(2)) {
        const std::uint64_t clear = conditions.clear_until(key, slots);
        REQUIRE(clear >= key.turn);
        if (clear > key.turn) REQUIRE(expected.empty());
        FrameKey later = key;
        for (later.turn = key.turn; later.turn < std::min(clear, key.turn + 5); ++later.turn) {
          REQUIRE(one_by_one(later, spec.bit_error, 0, slots).empty());
        }
      }
      if (first == 0 && dice.one_in(2) && conditions.surely_clean(key, timing, slots)) REQUIRE(expected.empty());
      if (dice.one_in(5)) continue;
      Strikes strikes;
      std::vector<std::uint32_t> inverted;
      conditions.noise(key, timing, slots, first, inverted, strikes);
      REQUIRE(inverted == expected);
      REQUIRE(strikes.noise == !expected.empty());
      if (!expected.empty()) REQUIRE(strikes.first_slot == first + expected.front());
    }
  }
}

TEST_CASE("turns that are hit are found by looking ahead, however far they lie apart") {
  // One hit in some 50,000 turns; a look ahead goes 65,536 turns at once.
  constexpr std::uint64_t turns = 3'000'000;
  LinkSpec spec;
  spec.bit_error = 200'000'000;
  for (std::uint32_t slots : {100U, 256U, 300U}) {
    FrameKey key;
    key.entry_hash = name_hash("entry");
    std::vector<std::uint64_t> expected;
    for (std::uint32_t row = 0; row * field_row_bits < slots; ++row) {
      const std::uint32_t bits = std::min(field_row_bits, slots - row * field_row_bits);
      NoisePoint point;
      for (std::uint64_t turn = 0;
           first_point(row_of(key, row), turn, 0, rate_of_probability(spec.bit_error), turns - 1, point);) {
        // The point found may lie behind the end of the frame; another of the same turn cannot lie before it.
        if (point.bit < bits) expected.push_back(point.turn);
        turn = point.turn + 1;
      }
    }
    std::sort(expected.begin(), expected.end());
    expected.erase(std::unique(expected.begin(), expected.end()), expected.end());
    REQUIRE(expected.size() > 20);

    Conditions conditions(spec, luck, link_name, 0);
    std::vector<std::uint64_t> found;
    std::size_t looks = 0;
    for (key.turn = 0; key.turn < turns; ++looks) {
      const std::uint64_t clear = conditions.clear_until(key, slots);
      REQUIRE(clear >= key.turn);
      REQUIRE(looks < turns / 1000);
      key.turn = clear;
      if (clear >= turns) break;
      Strikes strikes;
      std::vector<std::uint32_t> inverted;
      const std::uint32_t chars = slots / 10;
      conditions.noise(key, Timing(0, period_of_baud(9600), chars, 20), slots, 0, inverted, strikes);
      if (inverted.empty()) continue;  // only as far as was looked
      found.push_back(key.turn);
      ++key.turn;
    }
    CHECK(found == expected);
  }
}

}  // namespace hopbench
