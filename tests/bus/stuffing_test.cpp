// Stuffing against vectors that others published.
#include <string>
#include <vector>

#include "bus/stuffing.h"
#include "bus_test_tools.h"
#include "support/catch.h"

using namespace hopbench;
using hopbench::testing::Bytes;
using hopbench::testing::hex;
using hopbench::testing::run_of;

namespace {

Bytes stuffed(Stuffing stuffing, const Bytes& content) {
  WireBytes wire;
  stuff(stuffing, content, wire);
  CHECK(stuffed_size(stuffing, content) == wire.size());
  return {wire.view().begin(), wire.view().end()};
}

/// What unstuffing gives; nothing if a rule was broken.
std::optional<Bytes> unstuffed(Stuffing stuffing, const Bytes& wire) {
  Content content;
  std::size_t size = 0;
  if (!unstuff(stuffing, wire, content, size)) return std::nullopt;
  CHECK(size == content.size());
  return Bytes(content.view().begin(), content.view().end());
}

Bytes joined(std::initializer_list<Bytes> pieces) {
  Bytes all;
  for (const Bytes& piece : pieces) all.insert(all.end(), piece.begin(), piece.end());
  return all;
}

}  // namespace

TEST_CASE("COBS agrees with published vectors both ways") {
  // Vectors: cobs-python, src/cobs/cobs/test.py; the last one: the example of Cheshire and Baker 1999 (from memory).
  const std::vector<std::pair<Bytes, Bytes>> vectors{
      {{}, hex("01")},
      {hex("31"), hex("02 31")},
      {hex("31 32 33 34 35"), hex("06 31 32 33 34 35")},
      {hex("31 32 33 34 35 00 36 37 38 39"), hex("06 31 32 33 34 35 05 36 37 38 39")},
      {hex("00 31 32 33 34 35 00 36 37 38 39"), hex("01 06 31 32 33 34 35 05 36 37 38 39")},
      {hex("31 32 33 34 35 00 36 37 38 39 00"), hex("06 31 32 33 34 35 05 36 37 38 39 01")},
      {hex("00"), hex("01 01")},
      {hex("00 00"), hex("01 01 01")},
      {hex("00 00 00"), hex("01 01 01 01")},
      {run_of(0x01, 0xFD), joined({hex("FE"), run_of(0x01, 0xFD)})},
      {run_of(0x01, 0xFE), joined({hex("FF"), run_of(0x01, 0xFE)})},
      {run_of(0x01, 0xFF), joined({hex("FF"), run_of(0x01, 0xFE), hex("02 FF")})},
      {run_of(0x00, 0xFF), joined({hex("01 FF"), run_of(0x01, 0xFE), hex("02 FF")})},
      {joined({run_of(0x02, 0xFF), hex("00")}), joined({hex("FF"), run_of(0x02, 0xFF), hex("01 01")})},
      {joined({run_of(0x03, 0xFF), hex("00 01")}), joined({hex("FE"), run_of(0x03, 0xFF), hex("02 01")})},
      {hex("11 22 00 33"), hex("03 11 22 02 33")},
      {hex("11 00 00 00"), hex("02 11 01 01 01")},
      {hex("45 00 00 2C 4C 79 00 00 40 06 4F 37"), hex("02 45 01 04 2C 4C 79 01 05 40 06 4F 37")},
  };
  for (const auto& [content, wire] : vectors) {
    CHECK(stuffed(Stuffing::cobs, content) == wire);
    CHECK(unstuffed(Stuffing::cobs, wire) == content);
  }
}

TEST_CASE("COBS with an empty block after a full last one decodes to the same") {
  // The code listing in the 1999 paper (from memory) closes so; cobs-python does not. A receiver takes both.
  CHECK(unstuffed(Stuffing::cobs, joined({hex("FF"), run_of(0x01, 0xFE), hex("01")})) == run_of(0x01, 0xFE));
}

TEST_CASE("COBS refuses what no encoder makes") {
  // cobs-python's test of decoding errors.
  for (const char* bad : {"00", "05 31 32 33", "05 31 32 33 34 00", "05 31 32 00 34"}) {
    INFO(bad);
    CHECK_FALSE(unstuffed(Stuffing::cobs, hex(bad)));
  }
}

TEST_CASE("COBS grows as published") {
  // Bound n + 1 + floor(n / 254): asserted by cobs-python's tests.
  const std::vector<std::pair<std::size_t, std::size_t>> lengths{{253, 254}, {254, 255}, {255, 257},
                                                                 {508, 510}, {509, 512}, {1024, 1029}};
  for (const auto& [content, wire] : lengths) CHECK(stuffed(Stuffing::cobs, Bytes(content, 0x55)).size() == wire);
  for (const std::size_t zeros : {1U, 254U, 255U, 600U})
    CHECK(stuffed(Stuffing::cobs, Bytes(zeros, 0)) == Bytes(zeros + 1, 1));
}

TEST_CASE("SLIP escapes as RFC 1055 says") {
  const std::vector<std::pair<Bytes, Bytes>> vectors{{{}, {}},
                                                     {hex("C0"), hex("DB DC")},
                                                     {hex("DB"), hex("DB DD")},
                                                     {hex("C0 DB"), hex("DB DC DB DD")},
                                                     {hex("01 C0 02 DB 03"), hex("01 DB DC 02 DB DD 03")},
                                                     {hex("DB DC"), hex("DB DD DC")}};
  for (const auto& [content, wire] : vectors) {
    CHECK(stuffed(Stuffing::slip, content) == wire);
    CHECK(unstuffed(Stuffing::slip, wire) == content);
  }
  CHECK(stuffed(Stuffing::slip, Bytes(100, 0xC0)).size() == 200);
  CHECK_FALSE(unstuffed(Stuffing::slip, hex("01 DB")));
}

TEST_CASE("an unknown SLIP escape keeps its byte, as RFC 1055 suggests, and is reported") {
  Content content;
  std::size_t size = 0;
  CHECK_FALSE(unstuff(Stuffing::slip, hex("01 DB 41 02"), content, size));
  CHECK(Bytes(content.view().begin(), content.view().end()) == hex("01 41 02"));
}

TEST_CASE("HDLC escapes as RFC 1662 says") {
  // Section 4.2's examples: 7E, 7D and, for receivers, control characters that a sender may escape.
  CHECK(stuffed(Stuffing::hdlc, hex("7E")) == hex("7D 5E"));
  CHECK(stuffed(Stuffing::hdlc, hex("7D")) == hex("7D 5D"));
  for (const auto& [plain, escaped] : std::vector<std::pair<const char*, const char*>>{{"7E", "7D 5E"},
                                                                                       {"7D", "7D 5D"},
                                                                                       {"03", "7D 23"},
                                                                                       {"11", "7D 31"},
                                                                                       {"13", "7D 33"},
                                                                                       {"91", "7D B1"},
                                                                                       {"93", "7D B3"}}) {
    CHECK(unstuffed(Stuffing::hdlc, hex(escaped)) == hex(plain));
  }
  CHECK_FALSE(unstuffed(Stuffing::hdlc, hex("FF 03 7D")));  // escape and flag: given up by the sender
}

TEST_CASE("text digits go both ways and lower case is none") {
  WireBytes wire;
  hex_text(hex("00 9A FF"), wire);
  const std::string text(wire.view().begin(), wire.view().end());
  CHECK(text == "009AFF");
  Content content;
  CHECK(from_hex_text(wire.view(), content));
  CHECK(Bytes(content.view().begin(), content.view().end()) == hex("00 9A FF"));
  for (const std::string bad : {"0", "0G", "ff", "0 "}) {
    INFO(bad);
    CHECK_FALSE(from_hex_text(Bytes(bad.begin(), bad.end()), content));
  }
}
