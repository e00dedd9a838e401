// One receiver, case by case: what ends a frame, what a hit costs, when it is known.
#include <algorithm>

#include "bus_test_tools.h"
#include "support/buses.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::testing;

namespace {

/// A bus with one address byte, a payload and one check.
BusDescription plain_bus(FramingKind kind) {
  BusDescription bus;
  bus.name = "plain";
  bus.framing.kind = kind;
  bus.framing.max_bytes = 40;
  if (kind != FramingKind::silence) bus.framing.abandon_char_tenths = 30;
  CheckSpec check;
  check.name = "check";
  check.crc = {
      .width = 16, .poly = 0x1021, .init = 0xFFFF, .refin = true, .refout = true, .xorout = 0xFFFF};  // CRC-16/IBM-SDLC
  check.little_endian = true;
  bus.parts = {buses::part(buses::field("to", 8)), buses::payload_part(), buses::part(check)};
  bus.roles.destination = "to";
  bus.roles.tell_role = TellRole::by_position;
  TopicSpec topic;
  topic.name = "only";
  bus.topics = {topic};
  return bus;
}

Frame plain_frame(std::uint8_t to, const Bytes& payload) {
  Frame frame;
  frame.field[0] = to;
  frame.payload.assign(payload);
  return frame;
}

Bytes cut(const Bytes& bytes, std::size_t from, std::size_t to) {
  return {bytes.begin() + static_cast<std::ptrdiff_t>(from), bytes.begin() + static_cast<std::ptrdiff_t>(to)};
}

std::vector<Damage> damages(const std::vector<Finding>& findings) {
  std::vector<Damage> list;
  for (const Finding& finding : findings) list.push_back(finding.damage);
  return list;
}

struct Bench {
  Protocol protocol{buses::bench_frame()};
  Frame frame(std::uint64_t exchange, std::size_t payload = 4) const {
    Frame made = protocol.ask(1, 7, exchange, 16);
    made.payload.resize(payload);
    for (std::size_t i = 0; i < payload; ++i) made.payload[i] = static_cast<std::uint8_t>(17 * i + exchange);
    made.field[6] = payload;  // as it will read back
    return made;
  }
};

}  // namespace

TEST_CASE("frames back to back are found one by one, each known at the end of its last character") {
  Bench bench;
  Line line(bench.protocol);
  line.send(wire_of(bench.protocol, bench.frame(1)), 1).send(wire_of(bench.protocol, bench.frame(2)), 2);
  const auto findings = findings_of(bench.protocol, line.chars());
  INFO(shown(findings));
  REQUIRE(damages(findings) == std::vector{Damage::none, Damage::none});
  CHECK(findings[0].frame == bench.frame(1));
  CHECK(findings[0].first_edge == line.chars()[0].start);
  CHECK(findings[0].end == line.chars()[15].end);
  CHECK(findings[0].known_at == findings[0].end);
  CHECK(findings[0].chars == 16);
  CHECK(findings[1].first_tag == 2);
  CHECK(findings[1].last_tag == 2);
}

TEST_CASE("any one byte of a bench-frame hit, with no pause: one damage, and the next frame") {
  Bench bench;
  const Bytes first = wire_of(bench.protocol, bench.frame(1));
  const Bytes next = wire_of(bench.protocol, bench.frame(2));
  for (std::size_t at = 0; at < first.size(); ++at) {
    for (unsigned hit = 1; hit < 256; ++hit) {
      Bytes damaged = first;
      damaged[at] = static_cast<std::uint8_t>(damaged[at] ^ hit);
      Line line(bench.protocol);
      line.send(damaged, 1).send(next, 2).send(next, 3);
      const auto findings = findings_of(bench.protocol, line.chars());
      INFO("byte " << at << " xor " << hit << "\n" << shown(findings));
      REQUIRE(damages(findings) ==
              std::vector{at >= 7 ? Damage::check : Damage::malformed, Damage::none, Damage::none});
      REQUIRE(findings[0].chars == first.size());
      REQUIRE(findings[1].frame == bench.frame(2));
    }
  }
}

TEST_CASE("any run of bytes of a bench-frame lost, with no pause: one damage, and the next frame") {
  Bench bench;
  const Bytes first = wire_of(bench.protocol, bench.frame(1));
  const Bytes next = wire_of(bench.protocol, bench.frame(2));
  for (std::size_t from = 0; from < first.size(); ++from) {
    for (std::size_t to = from + 1; to <= first.size(); ++to) {
      Bytes left = cut(first, 0, from);
      const Bytes rest = cut(first, to, first.size());
      left.insert(left.end(), rest.begin(), rest.end());
      Line line(bench.protocol);
      line.send(left, 1).send(next, 2).send(next, 3);
      const auto findings = findings_of(bench.protocol, line.chars());
      INFO("without " << from << ".." << to << "\n" << shown(findings));
      const auto good = good_frames(findings);
      REQUIRE(good.size() == 2);
      REQUIRE(good[0] == bench.frame(2));
      REQUIRE(findings.size() == (left.empty() ? 2U : 3U));
    }
  }
}

TEST_CASE("bytes from nowhere before a frame are one damage") {
  Bench bench;
  Line line(bench.protocol);
  line.send(hex("00 FF B5 B5 10 21 07 13 55"), 1).send(wire_of(bench.protocol, bench.frame(2)), 2);
  const auto findings = findings_of(bench.protocol, line.chars());
  INFO(shown(findings));
  REQUIRE(damages(findings) == std::vector{Damage::malformed, Damage::none});
  CHECK(findings[0].chars == 9);
  CHECK(findings[0].content.size() == 9);
}

TEST_CASE("a frame carried inside another's payload is payload") {
  Bench bench;
  Frame outer = bench.frame(1, 40);
  const Bytes inner = wire_of(bench.protocol, bench.frame(2));
  std::copy(inner.begin(), inner.end(), outer.payload.view().begin() + 3);
  Line line(bench.protocol);
  line.send(wire_of(bench.protocol, outer), 1);
  const auto findings = findings_of(bench.protocol, line.chars());
  REQUIRE(damages(findings) == std::vector{Damage::none});
  CHECK(findings[0].frame == outer);
}

TEST_CASE("out of step, what only looks like a header does not hold a good frame back") {
  Bench bench;
  // In the payload: a marker and a header with a good check that claims 160 bytes more than will ever come.
  Frame liar = bench.protocol.ask(1, 7, 9, 16);
  liar.payload.resize(160);
  const Bytes claim = cut(wire_of(bench.protocol, liar), 0, 7);
  Frame frame = bench.frame(1, 20);
  std::copy(claim.begin(), claim.end(), frame.payload.view().begin() + 5);
  const Bytes first = wire_of(bench.protocol, frame);
  const Bytes next = wire_of(bench.protocol, bench.frame(2));
  // Step is lost at the marker, in the header, or only when the check turns out bad.
  for (const std::size_t hit : {std::size_t{0}, std::size_t{4}, first.size() - 1}) {
    Bytes damaged = first;
    damaged[hit] = static_cast<std::uint8_t>(damaged[hit] ^ 0x01);
    Line line(bench.protocol);
    line.send(damaged, 1).send(next, 2).send(next, 3);
    const auto findings = findings_of(bench.protocol, line.chars());
    INFO("byte " << hit << "\n" << shown(findings));
    REQUIRE(damages(findings) == std::vector{hit < 7 ? Damage::malformed : Damage::check, Damage::none, Damage::none});
    for (const std::size_t good : {1U, 2U}) {
      CHECK(findings[good].first_tag == good + 1);
      CHECK(findings[good].known_at == findings[good].end);
    }
  }
}

TEST_CASE("half a bench-frame is given up after three characters of silence, and not one instant before") {
  Bench bench;
  const Bytes wire = wire_of(bench.protocol, bench.frame(1));
  const Period period = period_of_baud(38'400);
  const Nanos pause = bench.protocol.abandon_silence(period);
  CHECK(pause == span_of_bits(30, period));  // three characters of ten bits
  for (const bool late : {false, true}) {
    Line line(bench.protocol);
    line.send(cut(wire, 0, 9), 1).pause(pause + (late ? 1 : 0)).send(cut(wire, 9, wire.size()), 2);
    // Rounding of edges to whole nanoseconds must not decide: make the pause exact.
    const Nanos shift = line.chars()[8].end + pause + (late ? 1 : 0) - line.chars()[9].start;
    for (std::size_t i = 9; i < line.chars().size(); ++i) {
      line.chars()[i].start += shift;
      line.chars()[i].end += shift;
    }
    const auto findings = findings_of(bench.protocol, line.chars());
    INFO(shown(findings));
    if (!late) {
      REQUIRE(damages(findings) == std::vector{Damage::none});
    } else {
      REQUIRE(damages(findings) == std::vector{Damage::too_short, Damage::malformed});
      CHECK(findings[0].abandoned);
      CHECK(findings[0].chars == 9);
      CHECK(findings[0].known_at == line.chars()[8].end + pause);
      CHECK(findings[1].abandoned);
    }
  }
}

TEST_CASE("a decoder tells when it wants to be woken, and is idle between frames only") {
  Bench bench;
  const Bytes wire = wire_of(bench.protocol, bench.frame(1));
  Line line(bench.protocol);
  line.send(wire);
  Decoder decoder(bench.protocol, line.period());
  std::vector<Finding> findings;
  CHECK(decoder.idle());
  CHECK(decoder.wants_wake() == never);
  for (std::size_t i = 0; i < wire.size(); ++i) {
    decoder.push(line.chars()[i], findings);
    CHECK(decoder.idle() == (i + 1 == wire.size()));
    if (i + 1 < wire.size())
      CHECK(decoder.wants_wake() == line.chars()[i].end + bench.protocol.abandon_silence(line.period()));
  }
  CHECK(decoder.wants_wake() == never);
  CHECK(findings.size() == 1);
  decoder.push(line.chars()[0], findings);
  decoder.reset();
  CHECK(decoder.idle());
  decoder.silent_until(never - 1, findings);
  CHECK(findings.size() == 1);
}

TEST_CASE("marks of characters reach the finding") {
  Bench bench;
  const Bytes wire = wire_of(bench.protocol, bench.frame(1));
  for (int mark = 0; mark < 3; ++mark) {
    Line line(bench.protocol);
    line.send(wire);
    HeardChar& hit = line.chars()[5];
    (mark == 0 ? hit.framing_error : mark == 1 ? hit.parity_error : hit.overrun) = true;
    const auto findings = findings_of(bench.protocol, line.chars());
    REQUIRE(findings.size() == 1);
    CHECK(findings[0].framing_error == (mark == 0));
    CHECK(findings[0].parity_error == (mark == 1));
    CHECK(findings[0].overrun == (mark == 2));
  }
}

TEST_CASE("a size without a header check: a wrong size costs the frames it covers only until it is seen through") {
  BusDescription bus = buses::bench_frame();
  bus.framing.header_check = "";
  REQUIRE(Protocol::faults_of(bus).empty());
  const Protocol protocol(bus);
  Bench bench;
  Bytes first = wire_of(protocol, bench.frame(1));
  first[5] = 50;  // claims 62 bytes, so it reaches over three whole frames
  const Bytes other = wire_of(protocol, bench.frame(2));
  Line line(protocol);
  line.send(first, 1);
  for (std::uint32_t tag = 2; tag < 7; ++tag) line.send(other, tag);
  const auto findings = findings_of(protocol, line.chars());
  INFO(shown(findings));
  REQUIRE(findings.size() == 6);
  CHECK(findings[0].damage == Damage::check);
  CHECK(findings[0].last_tag == 1);
  for (std::uint32_t i = 1; i < 6; ++i) {
    CHECK(findings[i].damage == Damage::none);
    CHECK(findings[i].first_tag == i + 1);
  }
}

TEST_CASE("a size said twice must agree") {
  BusDescription bus = plain_bus(FramingKind::sized);
  bus.parts.insert(bus.parts.begin(), {buses::part(buses::constant("marker", 16, 0x55AA)),
                                       buses::part(buses::field("size", 8)), buses::part(buses::field("again", 8))});
  bus.roles.size = "size";
  bus.framing.size_again = "again";
  REQUIRE(Protocol::faults_of(bus).empty());
  const Protocol protocol(bus);
  Frame frame;
  frame.payload.assign(hex("01 02 03"));
  Bytes wire = wire_of(protocol, frame);
  CHECK(cut(wire, 0, 4) == hex("55 AA 0A 0A"));
  CHECK(protocol.sized_length(wire) == 10U);
  wire[3] = 0x0B;
  CHECK_FALSE(protocol.sized_length(wire));
  Line line(protocol);
  line.send(wire, 1).send(wire_of(protocol, frame), 2);
  CHECK(damages(findings_of(protocol, line.chars())) == std::vector{Damage::malformed, Damage::none});
}

TEST_CASE("HDLC frames of RFC 1662's check are found and made") {
  // FCS by RFC 1662 appendix C.2 (CRC-16/IBM-SDLC, low byte first); stuffing by section 4.2. Here the first byte is
  // "to".
  BusDescription bus = plain_bus(FramingKind::hdlc);
  bus.framing.leading_boundary = true;
  const Protocol protocol(bus);
  for (const char* wire : {"7E FF 03 C0 21 49 2C 7E", "7E 7D 5E 81 6A 7E", "7E 7D 5D 1A 58 7E",
                           "7E FF 03 C0 21 7D 5E 7D 5D 03 D3 34 7E", "7E 31 32 33 34 35 36 37 38 39 6E 90 7E"}) {
    INFO(wire);
    Line line(protocol);
    line.send(hex(wire));
    const auto findings = findings_of(protocol, line.chars());
    REQUIRE(damages(findings) == std::vector{Damage::none});
    CHECK(findings[0].chars == hex(wire).size());
    CHECK(findings[0].first_edge == line.chars()[0].start);
    CHECK(wire_of(protocol, findings[0].frame) == hex(wire));
  }
}

TEST_CASE("an HDLC sender may share a flag, escape more than it must, or give a frame up") {
  const Protocol protocol(plain_bus(FramingKind::hdlc));
  Line line(protocol);
  line.send(hex("7E FF 03 C0 21 49 2C 7E FF 7D 23 C0 21 49 2C 7E"), 1);  // one flag between; 03 escaped
  line.send(hex("FF 03 C0 7D 7E"), 2);                                   // RFC 1662 section 4.3: abort
  line.send(hex("FF 03 C0 21 49 2C 7E 7E 7E"), 3);                       // flags between frames are nothing
  const auto findings = findings_of(protocol, line.chars());
  INFO(shown(findings));
  CHECK(damages(findings) == std::vector{Damage::none, Damage::none, Damage::malformed, Damage::none});
}

TEST_CASE("SLIP frames have an END before and after, and empty ones are nothing") {
  BusDescription bus = plain_bus(FramingKind::slip);
  bus.framing.leading_boundary = true;
  const Protocol protocol(bus);
  const Frame frame = plain_frame(0xC0, hex("DB 01"));
  const Bytes wire = wire_of(protocol, frame);
  CHECK(cut(wire, 0, 6) == hex("C0 DB DC DB DD 01"));
  CHECK(wire.back() == 0xC0);
  Line line(protocol);
  line.send(hex("C0 C0")).send(wire, 1).send(wire, 2).send(hex("C0"));
  const auto findings = findings_of(protocol, line.chars());
  CHECK(good_frames(findings) == std::vector{frame, frame});
  CHECK(findings.size() == 2);
}

TEST_CASE("a hit on the boundary costs one frame with a leading boundary and two without") {
  for (const auto kind : {FramingKind::cobs, FramingKind::slip, FramingKind::hdlc}) {
    for (const bool leading : {true, false}) {
      BusDescription bus = plain_bus(kind);
      bus.framing.leading_boundary = leading;
      const Protocol protocol(bus);
      Bytes first = wire_of(protocol, plain_frame(1, hex("0A 0B")));
      first.back() = 0x33;
      Line line(protocol);
      line.send(first, 1)
          .send(wire_of(protocol, plain_frame(2, hex("0C"))), 2)
          .send(wire_of(protocol, plain_frame(3, hex("0D"))), 3);
      const auto findings = findings_of(protocol, line.chars());
      INFO("kind " << static_cast<int>(kind) << " leading " << leading << "\n" << shown(findings));
      REQUIRE(good_frames(findings).size() == (leading ? 2 : 1));
      CHECK(findings.size() == (leading ? 3U : 2U));
      CHECK(good_frames(findings).back() == plain_frame(3, hex("0D")));
    }
  }
}

TEST_CASE("a boundary long before a frame does not belong to it") {
  BusDescription bus = plain_bus(FramingKind::cobs);
  bus.framing.leading_boundary = true;
  bus.framing.abandon_char_tenths = 0;
  const Protocol protocol(bus);
  const Bytes wire = wire_of(protocol, plain_frame(1, hex("0A 0B")));
  Line line(protocol);
  line.send(hex("00")).pause(second).send(cut(wire, 1, wire.size()));
  const auto findings = findings_of(protocol, line.chars());
  REQUIRE(findings.size() == 1);
  CHECK(findings[0].first_edge == line.chars()[1].start);
  CHECK(findings[0].chars == wire.size() - 1);
}

TEST_CASE("a stretch longer than any frame is one damage that counts all of it") {
  for (const auto kind : {FramingKind::cobs, FramingKind::slip, FramingKind::hdlc, FramingKind::silence}) {
    const BusDescription bus = [&] {
      BusDescription made = plain_bus(kind);
      if (kind == FramingKind::silence) made.framing.silence_char_tenths = 20;
      return made;
    }();
    const Protocol protocol(bus);
    Line line(protocol);
    line.send(Bytes(5000, 0x11), 1);
    if (kind != FramingKind::silence)
      line.send(Bytes(1, kind == FramingKind::cobs ? 0x00 : kind == FramingKind::slip ? 0xC0 : 0x7E), 2);
    const Nanos end = line.chars().back().end;
    line.long_pause().send(wire_of(protocol, plain_frame(1, hex("0A"))), 3);
    const auto findings = findings_of(protocol, line.chars());
    INFO(shown(findings));
    REQUIRE(damages(findings) == std::vector{Damage::too_long, Damage::none});
    CHECK(findings[0].chars == (kind == FramingKind::silence ? 5000 : 5001));
    CHECK(findings[0].end == end);
    CHECK(findings[0].content.size() <= max_frame_bytes);
  }
}

TEST_CASE("Modbus: silence ends a frame, known one silence after its last character") {
  const Protocol protocol(buses::modbus_rtu());
  const Period period = period_of_baud(19'200);
  const Nanos pause = protocol.end_silence(period);
  const Bytes wire = hex("01 03 00 6B 00 03 74 17");
  for (const bool late : {false, true}) {
    Line line(protocol);
    line.send(wire, 1).pause(pause).send(wire, 2);
    const Nanos shift = line.chars()[7].end + pause + (late ? 1 : 0) - line.chars()[8].start;
    for (std::size_t i = 8; i < 16; ++i) {
      line.chars()[i].start += shift;
      line.chars()[i].end += shift;
    }
    const auto findings = findings_of(protocol, line.chars());
    INFO(shown(findings));
    if (late) {
      REQUIRE(damages(findings) == std::vector{Damage::none, Damage::none});
      CHECK(findings[0].end == line.chars()[7].end);
      CHECK(findings[0].known_at == line.chars()[7].end + pause);
    } else {
      CHECK(damages(findings) == std::vector{Damage::check});  // on the instant is still in time: one frame of 16
    }
  }
}

TEST_CASE("text between markers: the start always begins anew") {
  BusDescription bus = plain_bus(FramingKind::marked);
  bus.framing.start = {':'};
  bus.framing.end = {'\r', '\n'};
  bus.framing.hex_text = true;
  CheckSpec& check = *bus.parts[2].check;
  check.kind = SumKind::negated_sum;
  check.bits = 8;
  REQUIRE(Protocol::faults_of(bus).empty());
  const Protocol protocol(bus);
  const Frame frame = plain_frame(0x11, hex("03 00 6B 00 03"));
  const Bytes wire = wire_of(protocol, frame);
  // Modbus ASCII (MODBUS over Serial Line V1.02, section 2.5.2) has this shape; the sum of all bytes with the check is
  // 0.
  CHECK(std::string(wire.begin(), wire.end()) == ":1103006B00037E\r\n");
  Line line(protocol);
  line.send(cut(wire, 0, 6), 1).send(wire, 2).send(hex("41 42"), 3).send(wire, 4);
  Bytes lower = wire;
  lower[8] = 'b';
  line.send(lower, 5).send(wire, 6);
  const auto findings = findings_of(protocol, line.chars());
  INFO(shown(findings));
  CHECK(damages(findings) ==
        std::vector{Damage::too_short, Damage::none, Damage::malformed, Damage::none, Damage::malformed, Damage::none});
  CHECK(findings[0].first_tag == 1);
  CHECK(findings[0].last_tag == 1);
}

TEST_CASE("a check over text goes over the characters as sent") {
  BusDescription bus = plain_bus(FramingKind::marked);
  bus.framing.start = {':'};
  bus.framing.end = {'\r'};
  bus.framing.hex_text = true;
  CheckSpec& check = *bus.parts[2].check;
  check.kind = SumKind::exclusive_or;
  check.bits = 8;
  check.over_text = true;
  const Protocol protocol(bus);
  const Bytes wire = wire_of(protocol, plain_frame(0x12, hex("AB")));
  unsigned expected = 0;
  for (const char character : {'1', '2', 'A', 'B'}) expected ^= static_cast<unsigned char>(character);
  CHECK(wire == Bytes{':', '1', '2', 'A', 'B', '0', static_cast<std::uint8_t>('0' + expected), '\r'});
}

TEST_CASE("raw bytes between markers: a lost end costs the frame before it only") {
  BusDescription bus = plain_bus(FramingKind::marked);
  bus.framing.start = {0x02, 0x02};
  bus.framing.end = {0x03};
  const Protocol protocol(bus);
  Bytes first = wire_of(protocol, plain_frame(0x21, hex("22 23")));
  const Bytes next = wire_of(protocol, plain_frame(0x31, hex("32")));
  first.back() = 0x44;
  Line line(protocol);
  line.send(first, 1).send(next, 2).send(next, 3);
  const auto findings = findings_of(protocol, line.chars());
  INFO(shown(findings));
  CHECK(damages(findings) == std::vector{Damage::too_long, Damage::none, Damage::none});
  CHECK(findings[0].last_tag == 1);
}

TEST_CASE("markers without an end: the next start or silence ends a frame") {
  BusDescription bus = plain_bus(FramingKind::marked);
  bus.framing.start = {0x02};
  const Protocol protocol(bus);
  const Bytes first = wire_of(protocol, plain_frame(0x21, hex("22 23")));
  const Bytes next = wire_of(protocol, plain_frame(0x31, hex("32")));
  Line line(protocol);
  line.send(first, 1).send(next, 2);
  const auto findings = findings_of(protocol, line.chars());
  INFO(shown(findings));
  REQUIRE(damages(findings) == std::vector{Damage::none, Damage::none});
  CHECK(findings[0].known_at == line.chars()[first.size()].end);
  CHECK(findings[0].end == line.chars()[first.size() - 1].end);
  CHECK(findings[1].known_at == line.chars().back().end + protocol.end_silence(line.period()));
  CHECK_FALSE(findings[1].abandoned);
}

TEST_CASE("fixed frames keep their count until silence puts them right") {
  const Protocol protocol(buses::old_style());
  const Bytes wire = hex("07 01 02 00 00 00 00 0A");
  Line line(protocol);
  line.send(cut(wire, 0, 7), 1).send(wire, 2).long_pause().send(wire, 3);
  const auto findings = findings_of(protocol, line.chars());
  INFO(shown(findings));
  REQUIRE(findings.size() == 3);
  CHECK(findings[0].damage == Damage::check);
  CHECK(findings[0].chars == 8);
  CHECK(findings[1].damage == Damage::too_short);
  CHECK(findings[1].abandoned);
  CHECK(findings[2].damage == Damage::none);
}
