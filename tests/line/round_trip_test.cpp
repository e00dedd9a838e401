// Bytes to levels and back, in every line coding, in one piece and in pieces.
#include <algorithm>
#include <span>
#include <utility>
#include <vector>

#include "base/luck.h"
#include "line/receiver.h"
#include "line/signal.h"
#include "support/catch.h"

namespace hopbench {
namespace {

std::vector<std::uint8_t> some_bytes(std::uint64_t sub, std::size_t count) {
  const StreamKey stream = Luck(8).stream(name_hash("round trip"), Purpose::test, sub);
  std::vector<std::uint8_t> bytes;
  for (std::uint64_t i = 0; i < count; ++i) bytes.push_back(static_cast<std::uint8_t>(draw(stream, i, 0)));
  return bytes;
}

LineCoding coding(std::uint32_t data_bits, Parity parity, std::uint32_t stop_half_bits) {
  LineCoding line;
  line.baud = 19200;
  line.data_bits = data_bits;
  line.parity = parity;
  line.stop_half_bits = stop_half_bits;
  return line;
}

}  // namespace

TEST_CASE("what is sent is received, byte for byte and edge for edge, in all line codings") {
  const auto data_bits = GENERATE(5U, 6U, 7U, 8U);
  const auto parity = GENERATE(Parity::none, Parity::even, Parity::odd);
  const auto stop = GENERATE(2U, 3U, 4U);
  const LineCoding line = coding(data_bits, parity, stop);
  const Period period = period_of_baud(line.baud);
  const auto bytes = some_bytes(data_bits, 200);
  const Timing timing(12'345, period, 200, line.char_half_bits());
  Levels levels;
  to_levels(bytes, line, timing, levels);
  CHECK(levels.last());
  Receiver receiver(line, {}, period);
  std::vector<SampledChar> heard;
  receiver.receive(levels, timing, timing.end(), heard);
  REQUIRE(receiver.idle());
  REQUIRE(heard.size() == bytes.size());
  for (std::uint32_t i = 0; i < bytes.size(); ++i) {
    const HeardChar& each = heard[i].heard;
    REQUIRE(each.byte == (bytes[i] & ((1U << data_bits) - 1U)));
    REQUIRE_FALSE((each.framing_error || each.parity_error || heard[i].doubtful));
    REQUIRE(each.start == timing.char_start(i));
    REQUIRE(each.end == timing.char_end(i));
  }
}

TEST_CASE("a line's length is the number of its bits") {
  // 8N1: 10 bits; 8E1: 11; 7N1.5: 9.5; 5O2: 9.
  CHECK(coding(8, Parity::none, 2).char_half_bits() == 20);
  CHECK(coding(8, Parity::even, 2).char_half_bits() == 22);
  CHECK(coding(7, Parity::none, 3).char_half_bits() == 19);
  CHECK(coding(5, Parity::odd, 4).char_half_bits() == 18);
  CHECK(slots_per_char(coding(8, Parity::none, 2)) == 10);
  CHECK(slots_per_char(coding(7, Parity::none, 3)) == 10);  // a begun stop bit can be hit by itself
}

TEST_CASE("parity is what the word says") {
  // 0x01 has one bit set: even parity adds one, odd adds none.
  for (const auto& [parity, expected] : {std::pair{Parity::even, true}, std::pair{Parity::odd, false}}) {
    const LineCoding line = coding(8, parity, 2);
    const Timing timing(0, Period{1'000} << 32U, 1, line.char_half_bits());
    Levels levels;
    const std::vector<std::uint8_t> one{0x01};
    to_levels(one, line, timing, levels);
    CHECK(levels.at(9'500) == expected);
    CHECK(levels.at(10'500));  // stop
  }
}

TEST_CASE("each slot turned over does what it should") {
  const LineCoding line = coding(8, Parity::even, 2);
  const Period period = period_of_baud(line.baud);
  const Timing timing(1'000, period, 3, line.char_half_bits());
  const std::vector<std::uint8_t> bytes{0x35, 0xa6, 0x51};
  for (std::uint32_t slot = 0; slot < 11; ++slot) {  // of the middle one
    Levels levels;
    to_levels(bytes, line, timing, levels);
    invert_slot(line, timing, 11 + slot, levels);
    Receiver receiver(line, {}, period);
    std::vector<SampledChar> heard;
    receiver.receive(levels, timing, timing.end(), heard);
    if (!receiver.idle()) receiver.decide_held(heard);
    INFO("slot " << slot);
    if (slot == 0) {  // no start bit: what follows is read from a later edge
      CHECK((heard.size() != 3 || heard[1].heard.byte != 0xa6));
      continue;
    }
    REQUIRE(heard.size() == 3);
    CHECK(heard[0].heard.byte == 0x35);
    // A stop bit that is low runs into the next start bit: there is no edge to begin at. 0x51 goes out as 1 0 0 0 1 0 1
    // 0, parity 1, stop: its first falling edge is that of its second bit, which passes for a start bit. What follows
    // reads as 0 0 1 0 1 0 1 1, four ones, and the idle line after it as parity (which should be 0) and stop.
    CHECK(heard[2].heard.byte == (slot < 10 ? 0x51 : 0xd4));
    CHECK(heard[2].heard.parity_error == (slot == 10));
    CHECK_FALSE(heard[2].heard.framing_error);
    if (slot == 10) CHECK(heard[2].heard.start == timing.place(2, 4));
    CHECK(heard[1].heard.byte == (slot <= 8 ? 0xa6 ^ (1U << (slot - 1)) : 0xa6U));
    CHECK(heard[1].heard.parity_error == (slot <= 9));
    CHECK(heard[1].heard.framing_error == (slot == 10));
  }
}

TEST_CASE("pieces that follow each other are heard as one") {
  const LineCoding line = coding(8, Parity::none, 2);
  const Period period = period_of_baud(line.baud);
  // Clocks apart, so that a character's last sample may lie in the next piece.
  const Period sent = period - period / 50;
  const auto bytes = some_bytes(99, 60);
  const auto hear = [&](std::size_t piece) {
    Receiver receiver(line, {}, period);
    std::vector<SampledChar> heard;
    for (std::size_t from = 0; from < bytes.size(); from += piece) {
      const std::span<const std::uint8_t> part(bytes.data() + from, std::min(piece, bytes.size() - from));
      const Timing timing(half_edge(500, from * line.char_half_bits(), sent), sent,
                          static_cast<std::uint32_t>(part.size()), line.char_half_bits());
      Levels levels;
      to_levels(part, line, timing, levels);
      receiver.receive(levels, timing, timing.end(), heard);
    }
    if (!receiver.idle()) receiver.decide_held(heard);
    std::vector<std::uint8_t> read;
    for (const SampledChar& each : heard) read.push_back(each.heard.byte);
    return read;
  };
  for (const std::size_t piece : {1U, 2U, 7U, 60U}) CHECK(hear(piece) == bytes);
}

TEST_CASE("a spike shorter than a start bit is no character") {
  const LineCoding line = coding(8, Parity::none, 2);
  const Period period = period_of_baud(line.baud);
  Levels levels;
  levels.toggle(1'000'000);
  levels.toggle(1'000'000 + span_of_bits(1, period) / 4);
  Receiver receiver(line, {}, period);
  std::vector<SampledChar> heard;
  receiver.receive(levels, Timing{}, 3'000'000, heard);
  CHECK(heard.empty());
  CHECK(receiver.idle());
}

}  // namespace hopbench
