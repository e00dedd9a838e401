// The bench's own frame, byte by byte. The checks of the worked example were made by a bit-by-bit program apart from
// ours.
#include <boost/crc.hpp>

#include "bus_test_tools.h"
#include "support/buses.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::testing;

namespace {

struct Bench {
  Protocol protocol{buses::bench_frame()};
  Source source;
  Bench() {
    source.arguments = {{"first", {2}}, {"count", {3}}};
    source.quantities = {{"cell_mv", {3301, 3302, 3303, 3304, 3305}}, {"snapshot_age_ms", {250}}};
  }
  Frame ask() {
    Frame frame = protocol.ask(*protocol.topic_named("readings"), 7, 0x1234, 16);
    REQUIRE_FALSE(protocol.fill(frame, Protocol::Side::ask, {}, source));
    return frame;
  }
  Frame answer() {
    const Frame asked = ask();
    Frame frame = protocol.answer_to(asked, 7, 16);
    REQUIRE_FALSE(protocol.fill(frame, Protocol::Side::answer, asked.payload.view(), source));
    return frame;
  }
};

}  // namespace

TEST_CASE("a bench-frame ask and its answer are these bytes") {
  Bench bench;
  CHECK(bench.protocol.head_bytes() == 7);
  CHECK(wire_of(bench.protocol, bench.ask()) == hex("B5 10 21 07 00 02 F4 12 34 02 02 03 0D 6D"));
  CHECK(wire_of(bench.protocol, bench.answer()) ==
        hex("B5 10 22 00 07 0A B8 12 34 02 02 03 00 FA 0C E7 0C E8 0C E9 6D 62"));
  const Frame refusal = bench.protocol.refusal_of(bench.ask(), 7, 16, Refusal::bad_value);
  CHECK(wire_of(bench.protocol, refusal) == hex("B5 10 23 00 07 01 2B 12 34 02 03 AF 33"));
  CHECK(bench.protocol.refusal_code(refusal) == 3U);
  CHECK(bench.protocol.wire_chars(bench.answer()) == 22);
}

TEST_CASE("its checks are those of Boost.CRC over the parts that the page names") {
  Bench bench;
  const Bytes wire = wire_of(bench.protocol, bench.answer());
  boost::crc_optimal<8, 0x2F, 0, 0, false, false> header;
  header.process_bytes(wire.data() + 1, 5);
  CHECK(wire[6] == header.checksum());
  boost::crc_optimal<16, 0x3D65, 0, 0xFFFF, false, false> check;
  check.process_byte(wire[0]);                                // marker
  check.process_bytes(wire.data() + 2, 4);                    // revision and role, to, from, size
  check.process_bytes(wire.data() + 7, wire.size() - 7 - 2);  // exchange, topic, payload
  CHECK(wire[wire.size() - 2] == check.checksum() >> 8U);
  CHECK(wire[wire.size() - 1] == (check.checksum() & 0xFFU));
}

TEST_CASE("each field reads back") {
  Bench bench;
  const Frame sent = bench.answer();
  Frame read;
  REQUIRE(bench.protocol.parse(content_of(bench.protocol, sent), read) == Damage::none);
  CHECK(read.role == Role::answer);
  CHECK(bench.protocol.destination(read) == 0U);
  CHECK(bench.protocol.source(read) == 7U);
  CHECK(bench.protocol.exchange(read) == 0x1234U);
  CHECK(bench.protocol.exchange_limit() == 0xFFFFU);
  CHECK(bench.protocol.passes_left(read) == 16U);
  CHECK(bench.protocol.topic(read) == bench.protocol.topic_named("readings"));
  CHECK(bench.protocol.value_of(read, Protocol::Side::answer, "age") == 250U);
  std::vector<PayloadValue> values;
  REQUIRE(bench.protocol.read(read, Protocol::Side::answer, values));
  REQUIRE(values.size() == 6);
  CHECK(values[5].repetition == 2);
  CHECK(values[5].value == 3305);  // cells 2, 3 and 4 were asked for
}

TEST_CASE("where a bench-frame is bound for") {
  Bench bench;
  using Bound = Protocol::Bound;
  const auto bound = [&](std::uint64_t to, std::optional<std::uint64_t> own) {
    return bench.protocol.bound_for(bench.protocol.ask(0, to, 1, 9), own);
  };
  CHECK(bound(7, 7) == Bound::here);
  CHECK(bound(7, 8) == Bound::elsewhere);
  CHECK(bound(7, std::nullopt) == Bound::elsewhere);
  CHECK(bound(254, std::nullopt) == Bound::first_unenrolled);
  CHECK(bound(255, 7) == Bound::everyone);
  CHECK(bound(0, 7) == Bound::controller);
}

TEST_CASE("a frame of a later revision is still read and passed on") {
  Bench bench;
  Frame frame = bench.ask();
  frame.field[2] = 5;  // revision
  Content content;
  bench.protocol.encode(frame, content);
  Frame read;
  CHECK(bench.protocol.parse(content.view(), read) == Damage::none);
  CHECK(read.field[2] == 5);
  REQUIRE(bench.protocol.forward_bytes(content));
  CHECK(bench.protocol.parse(content.view(), read) == Damage::none);
  CHECK(bench.protocol.passes_left(read) == 15U);
}

TEST_CASE("the head alone tells where a frame goes, and only if its check is good") {
  Bench bench;
  Bytes wire = wire_of(bench.protocol, bench.ask());
  const auto head = bench.protocol.parse_head(std::span(wire).first(7));
  REQUIRE(head);
  CHECK(bench.protocol.destination(*head) == 7U);
  CHECK(bench.protocol.passes_left(*head) == 16U);
  CHECK_FALSE(bench.protocol.parse_head(std::span(wire).first(6)));
  for (std::size_t bit = 0; bit < 7 * 8; ++bit) {
    Bytes hit = wire;
    hit[bit / 8] = static_cast<std::uint8_t>(hit[bit / 8] ^ (0x80U >> bit % 8));
    INFO("bit " << bit);
    CHECK_FALSE(bench.protocol.parse_head(std::span(hit).first(7)));
  }
}

TEST_CASE("no flip of one or two bits is taken for a good bench-frame") {
  // Header check and end-to-end check both have distance 4 at least at this length (see crc_distance_test.cpp).
  Bench bench;
  const Bytes wire = wire_of(bench.protocol, bench.ask());
  const auto flip = [](Bytes& bytes, std::size_t bit) {
    bytes[bit / 8] = static_cast<std::uint8_t>(bytes[bit / 8] ^ (0x80U >> bit % 8));
  };
  Frame read;
  for (std::size_t first = 0; first < 8 * wire.size(); ++first) {
    Bytes one = wire;
    flip(one, first);
    INFO("bit " << first);
    REQUIRE(bench.protocol.parse(one, read) != Damage::none);
    for (std::size_t other = first + 1; other < 8 * wire.size(); ++other) {
      Bytes two = one;
      flip(two, other);
      REQUIRE(bench.protocol.parse(two, read) != Damage::none);
    }
  }
}
