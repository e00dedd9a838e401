// The screen "surely in step": whenever it says yes, everything is heard well; and it says yes nearly as far as the
// limits go.
#include <cmath>
#include <vector>

#include "base/luck.h"
#include "support/catch.h"
#include "tolerance.h"

namespace hopbench {
namespace {

class Dice {
 public:
  explicit Dice(std::uint64_t sub) : stream_(Luck(5).stream(name_hash("in step"), Purpose::test, sub)) {}
  std::uint64_t up_to(std::uint64_t most) { return below(most + 1, draw(stream_, next_++, 0)); }

 private:
  StreamKey stream_;
  std::uint64_t next_ = 0;
};

LineCoding some_coding(Dice& dice) {
  LineCoding line;
  line.data_bits = static_cast<std::uint32_t>(5 + dice.up_to(3));
  line.parity = static_cast<Parity>(dice.up_to(2));
  line.stop_half_bits = static_cast<std::uint32_t>(2 + dice.up_to(2));
  return line;
}

ReceiverSpec some_receiver(Dice& dice) {
  ReceiverSpec spec;
  spec.oversampling = static_cast<std::uint32_t>(4 + dice.up_to(60));
  spec.votes = dice.up_to(1) == 0 ? 1 : 3;
  spec.first_vote =
      static_cast<std::uint32_t>(1 + dice.up_to(spec.oversampling - spec.votes));  // all votes within the bit
  return spec;
}

}  // namespace

TEST_CASE("a sender surely in step is heard exactly, whatever it says and wherever it begins") {
  Dice dice(1);
  int said_yes = 0;
  int near_the_limit = 0;
  for (int round = 0; round < 30'000; ++round) {
    const LineCoding line = some_coding(dice);
    const ReceiverSpec spec = some_receiver(dice);
    constexpr std::uint64_t bauds[] = {300, 9600, 38400, 115200, 921600};
    const Period own = period_of_baud(bauds[dice.up_to(4)]);
    const double off = (static_cast<double>(dice.up_to(200'000)) - 100'000) / 1'000'000;  // +-10 %
    const Period sent = sent_at(own, 100 * (1 + off));
    if (!Receiver(line, spec, own).surely_in_step(sent, 0)) continue;
    ++said_yes;
    if (!Receiver(line, spec, own).surely_in_step(sent_at(own, 100 * (1 + 1.05 * off)), 0)) ++near_the_limit;
    std::vector<std::uint8_t> bytes;
    const std::uint64_t length = 1 + dice.up_to(11);
    for (std::uint64_t i = 0; i < length; ++i) bytes.push_back(static_cast<std::uint8_t>(dice.up_to(255)));
    const Reception heard = receive(line, spec, own, sent, static_cast<Nanos>(dice.up_to(1'000'000'000)), bytes);
    INFO("round " << round << " S " << spec.oversampling << " first " << spec.first_vote << " votes " << spec.votes
                  << " off " << off << " D " << line.data_bits << " parity " << static_cast<int>(line.parity)
                  << " stop " << line.stop_half_bits);
    REQUIRE(heard.unanimous);
  }
  CHECK(said_yes > 5'000);
  CHECK(near_the_limit > 200);  // or only easy cases were tried
}

TEST_CASE(
    "a frame that is surely heard well at its phase is heard exactly, at the instant foretold, whatever it says") {
  Dice dice(3);
  int said_yes = 0;
  int only_at_its_phase = 0;
  int decided_later = 0;
  int needlessly_no = 0;
  for (int round = 0; round < 60'000; ++round) {
    const LineCoding line = some_coding(dice);
    const ReceiverSpec spec = some_receiver(dice);
    constexpr std::uint64_t bauds[] = {300, 9600, 38400, 115200, 921600};
    const Period own = period_of_baud(bauds[dice.up_to(4)]);
    const double off = (static_cast<double>(dice.up_to(200'000)) - 100'000) / 1'000'000;  // +-10 %
    const Period sent = sent_at(own, 100 * (1 + off));
    const auto bit = static_cast<Nanos>(sent >> 32U);
    const Nanos stretch = dice.up_to(3) == 0 ? static_cast<Nanos>(dice.up_to(20)) * bit / 100 - bit / 10 : 0;
    std::vector<std::uint8_t> bytes;
    const std::uint64_t length = 1 + dice.up_to(11);
    for (std::uint64_t i = 0; i < length; ++i) bytes.push_back(static_cast<std::uint8_t>(dice.up_to(255)));
    Timing timing(static_cast<Nanos>(1'000'000 + dice.up_to(1'000'000'000)), sent,
                  static_cast<std::uint32_t>(bytes.size()), line.char_half_bits());
    if (dice.up_to(2) == 0) {  // passed on as they came, with pauses here and there
      std::vector<Nanos> starts{timing.start()};
      for (std::uint32_t i = 1; i < timing.chars(); ++i) {
        const Nanos pause = dice.up_to(2) == 0 ? static_cast<Nanos>(dice.up_to(300)) * bit / 100 : 0;
        starts.push_back(half_edge(starts.back(), line.char_half_bits(), sent) + pause);
      }
      timing.set_starts(starts);
    }
    Receiver receiver(line, spec, own);
    const bool whole_chars = dice.up_to(1) == 0;
    const Nanos decided = receiver.decided_at(timing, stretch, whole_chars);
    const bool in_step = receiver.surely_in_step(sent, stretch);
    INFO("round " << round << " S " << spec.oversampling << " first " << spec.first_vote << " votes " << spec.votes
                  << " off " << off << " D " << line.data_bits << " parity " << static_cast<int>(line.parity)
                  << " stop " << line.stop_half_bits << " stretch " << stretch);
    // (A vote right at the edge is within what rounding takes away here.)
    if (in_step && spec.first_vote > 1) CHECK(decided == timing.end());
    Levels levels;
    to_levels(bytes, line, timing, levels);
    levels.stretch_lows(stretch);
    std::vector<SampledChar> heard;
    receiver.receive(levels, timing, timing.end(), heard);
    const Nanos held_until = receiver.undecided_until();
    if (held_until != never) receiver.decide_held(heard);
    bool exact = heard.size() == bytes.size();
    bool whole = held_until == never;
    const auto mask = static_cast<std::uint8_t>((1U << line.data_bits) - 1U);
    for (std::uint32_t i = 0; exact && i < bytes.size(); ++i) {
      const HeardChar& each = heard[i].heard;
      exact = each.byte == (bytes[i] & mask) && !each.framing_error && !each.parity_error &&
              each.start == timing.char_start(i);
      whole = whole && each.end == timing.char_end(i);
    }
    if (decided == never) {
      if (exact && (whole || !whole_chars)) ++needlessly_no;
      continue;
    }
    ++said_yes;
    if (!in_step) ++only_at_its_phase;
    if (decided != timing.end()) ++decided_later;
    REQUIRE(exact);
    if (whole_chars) REQUIRE(whole);
    REQUIRE(decided == (held_until == never ? timing.end() : held_until));
  }
  CHECK(said_yes > 15'000);
  CHECK(only_at_its_phase > 1'000);  // or the first screen would do
  CHECK(decided_later > 50);
  CHECK(needlessly_no < said_yes / 8);
}

TEST_CASE("the screen is hardly more timid than the published limits") {
  // The slow limit asks the same (all votes inside the stop bit); the fast one asks it of the last vote as well, where
  // the published limit is content with the middle one: one sample in (D + 1) S + S_M, 0.64 % at S = 16 and 1.3 % at S
  // = 8 for 8N1.
  struct Case {
    ReceiverSpec spec;
    double slow;
    double fast;
  };
  const Case c =
      GENERATE(Case{{16, 8, 3}, 95.36, 104.58}, Case{{8, 4, 3}, 96.00, 103.90}, Case{{16, 7, 3}, 96.00, 105.26});
  const Period own = period_of_baud(9600);
  const Receiver receiver(LineCoding{}, c.spec, own);
  CHECK(receiver.surely_in_step(own, 0));
  CHECK(receiver.surely_in_step(sent_at(own, c.slow + 0.01), 0));
  CHECK_FALSE(receiver.surely_in_step(sent_at(own, c.slow - 0.01), 0));
  const double last_vote_too =
      c.fast - 100.0 * 10 * c.spec.oversampling / (std::pow(9.0 * c.spec.oversampling + c.spec.first_vote + 1, 2));
  CHECK(receiver.surely_in_step(sent_at(own, last_vote_too - 0.02), 0));
  CHECK_FALSE(receiver.surely_in_step(sent_at(own, c.fast + 0.01), 0));
}

}  // namespace hopbench
