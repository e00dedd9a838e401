// What must hold for every receiver on every bus: the same findings however told, back in step, bounded.
#include <algorithm>

#include "bus_test_tools.h"
#include "random_bus.h"
#include "support/buses.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::testing;

namespace {

void for_every_bus(const char* what, void (*property)(const Protocol&)) {
  for (int kind = 0; kind < 7; ++kind) {
    INFO(what << ", framing " << kind);
    CHECK(rc::check(what, [&] { property(Protocol(random_bus(static_cast<FramingKind>(kind)))); }));
  }
  for (const auto& bus : {buses::bench_frame(), buses::modbus_rtu(), buses::old_style()}) {
    INFO(what << ", bus " << bus.name);
    CHECK(rc::check(what, [&] { property(Protocol(bus)); }));
  }
}

/// Flips, removes or inserts at one drawn place.
void damage_one_place(Bytes& wire) {
  const auto at = static_cast<std::ptrdiff_t>(drawn(0, wire.size() - 1));
  switch (drawn(0, 2)) {
    case 0:
      wire[static_cast<std::size_t>(at)] ^= static_cast<std::uint8_t>(drawn(1, 255));
      break;
    case 1:
      wire.erase(wire.begin() + at);
      break;
    default:
      wire.insert(wire.begin() + at, static_cast<std::uint8_t>(drawn(0, 255)));
      break;
  }
}

/// Frames good and bad, noise, pauses of all lengths.
void send_anything(Line& line, const Protocol& protocol, std::uint64_t pieces) {
  for (std::uint64_t i = 0; i < pieces; ++i) {
    const auto tag = static_cast<std::uint32_t>(i + 1);
    Bytes wire = wire_of(protocol, random_frame(protocol));
    switch (drawn(0, 4)) {
      case 0:
        break;
      case 1:
      case 2:
        damage_one_place(wire);
        break;
      case 3:
        wire = random_bytes(drawn(0, 40));
        break;
      default:
        wire.resize(drawn(0, wire.size()));
        break;
    }
    line.send(wire, tag);
    for (auto& character : line.chars())
      character.framing_error = character.framing_error || (character.byte == 0 && drawn(0, 50) == 50);
    if (drawn(0, 2) == 0) line.pause(static_cast<Nanos>(drawn(0, 80)) * line.char_time() / 10);
    if (drawn(0, 3) == 0) line.long_pause();
  }
}

}  // namespace

TEST_CASE("good frames with the pauses that the bus asks for are all found, as sent") {
  for_every_bus("clean", [](const Protocol& protocol) {
    Line line(protocol);
    std::vector<Frame> sent;
    std::vector<std::uint32_t> chars;
    std::vector<Nanos> starts;
    const auto count = drawn(1, 4);
    for (std::uint64_t i = 0; i < count; ++i) {
      sent.push_back(random_frame(protocol));
      chars.push_back(protocol.wire_chars(sent.back()));
      starts.push_back(line.now());
      line.send(wire_of(protocol, sent.back()), static_cast<std::uint32_t>(i));
      line.pause(protocol.least_gap(line.period()));
    }
    const auto findings = findings_of(protocol, line.chars());
    RC_ASSERT(good_frames(findings) == sent);
    RC_ASSERT(findings.size() == sent.size());
    for (std::size_t i = 0; i < findings.size(); ++i) {
      RC_ASSERT(findings[i].chars == chars[i]);
      RC_ASSERT(findings[i].first_edge == starts[i]);
      RC_ASSERT(findings[i].first_tag == i);
      RC_ASSERT(findings[i].last_tag == i);
      RC_ASSERT(findings[i].known_at == findings[i].end + protocol.end_silence(line.period()) ||
                protocol.description().framing.kind == FramingKind::marked);
    }
  });
}

TEST_CASE("findings do not depend on how silence is told") {
  for_every_bus("told", [](const Protocol& protocol) {
    Line line(protocol);
    send_anything(line, protocol, drawn(1, 6));
    const auto plain = findings_of(protocol, line.chars());
    const auto often = findings_told_often(protocol, line.chars());
    if (!same(plain, often)) RC_FAIL(shown(plain) + "against\n" + shown(often));
  });
}

TEST_CASE("what is known, is known in order and never before it is heard") {
  for_every_bus("order", [](const Protocol& protocol) {
    Line line(protocol);
    send_anything(line, protocol, drawn(1, 6));
    Decoder decoder(protocol, line.period());
    std::vector<Finding> findings;
    Nanos latest = 0;
    for (const HeardChar& character : line.chars()) {
      const std::size_t before = findings.size();
      decoder.push(character, findings);
      for (std::size_t i = before; i < findings.size(); ++i) {
        RC_ASSERT(findings[i].known_at >= latest);
        RC_ASSERT(findings[i].known_at <= character.end);
        RC_ASSERT(findings[i].end <= findings[i].known_at);
        RC_ASSERT(findings[i].chars > 0U);
        latest = findings[i].known_at;
      }
    }
  });
}

TEST_CASE("after damage anywhere in a frame and a long pause the next frame is found") {
  for_every_bus("recovers", [](const Protocol& protocol) {
    Bytes wire = wire_of(protocol, random_frame(protocol));
    damage_one_place(wire);
    const Frame next = random_frame(protocol);
    Line line(protocol);
    line.send(wire, 1).long_pause().send(wire_of(protocol, next), 2);
    const auto findings = findings_of(protocol, line.chars());
    RC_ASSERT(!findings.empty());
    RC_ASSERT(findings.back().damage == Damage::none);
    RC_ASSERT(findings.back().frame == next);
    RC_ASSERT(findings.back().first_tag == 2U);
  });
}

TEST_CASE("after any noise and a long pause the next frame is found") {
  for_every_bus("noise", [](const Protocol& protocol) {
    const Frame next = random_frame(protocol);
    Line line(protocol);
    line.send(random_bytes(drawn(0, 700)), 1).long_pause().send(wire_of(protocol, next), 2);
    const auto findings = findings_of(protocol, line.chars());
    RC_ASSERT(!findings.empty());
    RC_ASSERT(findings.back().damage == Damage::none);
    RC_ASSERT(findings.back().frame == next);
  });
}

TEST_CASE("with a leading boundary one damaged character costs one frame, pause or not") {
  for (const auto kind : {FramingKind::cobs, FramingKind::slip, FramingKind::hdlc}) {
    CHECK(rc::check("leading boundary", [&] {
      BusDescription bus = random_bus(kind);
      bus.framing.leading_boundary = true;
      const Protocol protocol(bus);
      Bytes wire = wire_of(protocol, random_frame(protocol));
      wire[drawn(0, wire.size() - 1)] ^= static_cast<std::uint8_t>(drawn(1, 255));
      const Frame next = random_frame(protocol);
      Line line(protocol);
      line.send(wire, 1).send(wire_of(protocol, next), 2);
      const auto findings = findings_of(protocol, line.chars());
      RC_ASSERT(findings.back().damage == Damage::none);
      RC_ASSERT(findings.back().frame == next);
    }));
  }
}

TEST_CASE("every bit of a bench-frame flipped: no other frame is made of it, and the next one is found") {
  // One flip lies below the distance of both checks, so none may pass; see crc_distance_test.cpp for the distances.
  const Protocol protocol(buses::bench_frame());
  CHECK(rc::check("bit flips", [&] {
    const Frame first = random_frame(protocol);
    const Frame next = random_frame(protocol);
    const Bytes wire = wire_of(protocol, first);
    const Bytes next_wire = wire_of(protocol, next);
    for (std::size_t bit = 0; bit < 8 * wire.size(); ++bit) {
      Bytes hit = wire;
      hit[bit / 8] = static_cast<std::uint8_t>(hit[bit / 8] ^ (0x80U >> bit % 8));
      Line line(protocol);
      line.send(hit, 1).send(next_wire, 2);
      const auto findings = findings_of(protocol, line.chars());
      RC_ASSERT(good_frames(findings) == std::vector{next});
      // Payload that looks like a header (one place in 65 536) may split the damage in two, never more at this length.
      RC_ASSERT(findings.size() == 2U || findings.size() == 3U);
    }
  }));
}

TEST_CASE("what comes to an idle decoder is judged by itself") {
  const auto property = [](const Protocol& protocol) {
    Line line(protocol);
    send_anything(line, protocol, drawn(1, 6));
    // More than any frame holds, and perhaps no marker in it.
    if (drawn(0, 1) == 0) line.send(Bytes(drawn(300, 900), static_cast<std::uint8_t>(drawn(0, 255))));
    const Frame next = random_frame(protocol);
    Line alone(protocol, line.now() + 1000 * second);
    alone.send(wire_of(protocol, next), 1);
    Decoder decoder(protocol, line.period());
    std::vector<Finding> unused;
    for (const HeardChar& character : line.chars()) {
      decoder.push(character, unused);
      if (!decoder.idle()) continue;
      Decoder after = decoder;
      std::vector<Finding> found;
      for (const HeardChar& each : alone.chars()) after.push(each, found);
      after.silent_until(alone.now() + 1000 * second, found);
      RC_ASSERT(found.size() == 1U);
      RC_ASSERT(found.front().damage == Damage::none);
      RC_ASSERT(found.front().frame == next);
    }
  };
  for_every_bus("idle", property);
  CHECK(rc::check("idle, with nothing but an end marker of one character", [&] {
    BusDescription bus = random_bus(FramingKind::marked);
    bus.framing.start.clear();
    bus.framing.end = {0x0D};
    property(Protocol(bus));
  }));
}

TEST_CASE("a decoder that is put back where another one is idle finds what that one finds") {
  for_every_bus("kept", [](const Protocol& protocol) {
    Line line(protocol);
    send_anything(line, protocol, drawn(1, 6));
    Decoder decoder(protocol, line.period());
    std::vector<Finding> unused;
    const std::vector<HeardChar>& chars = line.chars();
    for (std::size_t i = 0; i < chars.size(); ++i) {
      decoder.push(chars[i], unused);
      if (!decoder.idle()) continue;
      Archive down;
      decoder.keep(down);
      Decoder after(protocol, line.period());
      Archive back(down.bytes());
      after.keep(back);
      RC_ASSERT(back.good());
      Decoder before = decoder;
      std::vector<Finding> expected;
      std::vector<Finding> found;
      for (std::size_t k = i + 1; k < chars.size(); ++k) {
        before.push(chars[k], expected);
        after.push(chars[k], found);
      }
      before.silent_until(line.now() + 1000 * second, expected);
      after.silent_until(line.now() + 1000 * second, found);
      for (auto* findings : {&expected, &found}) {
        for (Finding& finding : *findings) finding.first_tag = 0;  // tags are not kept
      }
      if (!same(expected, found)) RC_FAIL(shown(expected) + "against\n" + shown(found));
    }
  });
}
