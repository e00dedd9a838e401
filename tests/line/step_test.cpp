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
