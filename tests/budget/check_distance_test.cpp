// What the budget says that a check notices, against every pattern of few wrong bits tried on real frames.
#include <string>
#include <vector>

#include "budget/check_budget.h"
#include "support/buses.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

BusDescription checked_bus(const CheckSpec& check) {
  BusDescription bus;
  bus.name = "checked";
  bus.framing.kind = FramingKind::silence;
  bus.framing.silence_char_tenths = 20;
  bus.parts = {buses::part(buses::field("to", 8)), buses::payload_part(), buses::part(check)};
  bus.roles.destination = "to";
  bus.roles.tell_role = TellRole::by_pending_ask;
  TopicSpec topic;
  topic.name = "only";
  bus.topics = {topic};
  return bus;
}

/// The fewest wrong bits that passed, of up to three, over these data.
std::size_t fewest_unnoticed(const Protocol& protocol, const Frame& frame) {
  Content content;
  protocol.encode(frame, content);
  const std::size_t bits = 8 * content.size();
  std::size_t fewest = 4;
  const auto flip = [&](std::size_t bit) {
    content[bit / 8] = static_cast<std::uint8_t>(content[bit / 8] ^ (0x80U >> (bit % 8)));
  };
  const auto look = [&](std::size_t wrong) {
    Frame read;
    if (wrong < fewest && protocol.parse(content.view(), read) == Damage::none) fewest = wrong;
  };
  for (std::size_t a = 0; a < bits; ++a) {
    flip(a);
    look(1);
    for (std::size_t b = a + 1; b < bits; ++b) {
      flip(b);
      look(2);
      for (std::size_t c = b + 1; c < bits; ++c) {
        flip(c);
        look(3);
        flip(c);
      }
      flip(b);
    }
    flip(a);
  }
  return fewest;
}

CheckSpec check_of(SumKind kind, std::uint32_t bits, Digits digits) {
  CheckSpec check;
  check.name = "check";
  check.kind = kind;
  check.bits = bits;
  check.digits = digits;
  if (kind == SumKind::crc) check.crc = {.width = bits, .poly = bits == 8 ? 0x2FU : 0x3D65U};
  return check;
}

}  // namespace

TEST_CASE("no pattern of fewer wrong bits than the budget says passes, and one of so many does") {
  Dice dice("distance", 1);
  for (const CheckSpec& check :
       {check_of(SumKind::crc, 8, Digits::binary), check_of(SumKind::crc, 8, Digits::hex_text),
        check_of(SumKind::crc, 8, Digits::decimal_text), check_of(SumKind::crc, 8, Digits::bcd),
        check_of(SumKind::crc, 16, Digits::hex_text), check_of(SumKind::sum, 8, Digits::hex_text),
        check_of(SumKind::exclusive_or, 8, Digits::hex_text), check_of(SumKind::ones_sum, 8, Digits::binary),
        check_of(SumKind::negated_ones_sum, 16, Digits::binary), check_of(SumKind::fletcher, 16, Digits::binary),
        check_of(SumKind::fletcher, 32, Digits::binary), check_of(SumKind::fletcher_256, 16, Digits::binary)}) {
    const Protocol protocol(checked_bus(check));
    REQUIRE(Protocol::faults_of(protocol.description()).empty());
    const auto lengths = CheckBudget(protocol.description()).lengths(4);
    REQUIRE(lengths.size() == 1);
    std::size_t fewest = 4;
    for (int turn = 0; turn < 12; ++turn) {
      Frame frame;
      frame.field[0] = dice.up_to(255);
      std::vector<std::uint8_t> payload(4);
      for (std::uint8_t& byte : payload) byte = static_cast<std::uint8_t>(dice.up_to(255));
      frame.payload.assign(payload);
      fewest = std::min(fewest, fewest_unnoticed(protocol, frame));
    }
    INFO(kind_of_check(check) << ", digits " << static_cast<int>(check.digits) << ": the budget says "
                              << lengths[0].distance << (lengths[0].at_least ? " at least" : "") << ", found "
                              << fewest);
    CHECK(std::min<std::size_t>(lengths[0].distance, 4) <= fewest);
    if (!lengths[0].at_least && lengths[0].distance <= 3) CHECK(lengths[0].distance == fewest);
  }
}

}  // namespace hopbench
