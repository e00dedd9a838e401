// What must hold for every bus and every frame: codecs and forwarding.
#include "bus/spelled.h"
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
    CHECK(rc::check(what, [&] {
      const BusDescription bus = random_bus(static_cast<FramingKind>(kind));
      for (const auto& fault : Protocol::faults_of(bus)) RC_FAIL(fault.part + ": " + fault.what);
      property(Protocol(bus));
    }));
  }
}

Bytes as_bytes(const Content& content) { return {content.view().begin(), content.view().end()}; }

}  // namespace

TEST_CASE("decoding an encoded frame gives the frame, and encoding that the same bytes") {
  for_every_bus("codec", [](const Protocol& protocol) {
    const Frame frame = random_frame(protocol, 80);
    Content content;
    protocol.encode(frame, content);
    RC_ASSERT(content.size() == protocol.content_bytes(frame));
    Frame read;
    RC_ASSERT(protocol.parse(content.view(), read) == Damage::none);
    RC_ASSERT(read == frame);
    RC_ASSERT(wire_of(protocol, frame).size() == protocol.wire_chars(frame));
  });
}

TEST_CASE("bytes that parse are the bytes that their frame encodes to") {
  for_every_bus("canonical", [](const Protocol& protocol) {
    Bytes content = content_of(protocol, random_frame(protocol));
    const auto hits = drawn(0, 3);
    for (std::uint64_t i = 0; i < hits; ++i)
      content[drawn(0, content.size() - 1)] = static_cast<std::uint8_t>(drawn(0, 255));
    Frame read;
    if (protocol.parse(content, read) != Damage::none) return;
    RC_ASSERT(content_of(protocol, read) == content);
  });
}

TEST_CASE("arbitrary bytes are parsed without harm at any length") {
  for_every_bus("any bytes", [](const Protocol& protocol) {
    const Bytes bytes = random_bytes(drawn(0, 400));
    Frame read;
    const Damage damage = protocol.parse(bytes, read);
    if (damage == Damage::none) RC_ASSERT(content_of(protocol, read) == bytes);
    static_cast<void>(protocol.parse_head(bytes));
    Content content;
    content.assign(bytes);
    static_cast<void>(protocol.forward_bytes(content));
  });
}

TEST_CASE("any bytes are spelled out, and the checks and fields of a good frame fit") {
  for_every_bus("spelled", [](const Protocol& protocol) {
    Bytes content = content_of(protocol, random_frame(protocol));
    const auto hits = drawn(0, 3);
    for (std::uint64_t i = 0; i < hits; ++i)
      content[drawn(0, content.size() - 1)] ^= static_cast<std::uint8_t>(drawn(1, 255));
    if (drawn(0, 3) == 0) content.resize(drawn(0, content.size()));
    if (drawn(0, 3) == 0) content.resize(content.size() + drawn(1, 9));
    Frame read;
    const Damage damage = protocol.parse(content, read);
    const Spelled spelled = spelled_out(protocol, content, std::nullopt);
    RC_ASSERT(spelled.damage == damage);
    bool head_fits = true;
    for (const SpelledPart& part : spelled.parts) {
      RC_ASSERT(part.bytes.size() <= content.size());
      const bool of_payload = part.what == SpelledPart::What::value || part.what == SpelledPart::What::rest;
      head_fits = head_fits && (of_payload || part.wrong.empty());
    }
    if (damage == Damage::none) RC_ASSERT(head_fits);
    if (damage != Damage::none) RC_ASSERT(spelled.first_wrong.has_value());
  });
}

TEST_CASE("forwarding a frame and forwarding its bytes agree") {
  for_every_bus("forward", [](const Protocol& protocol) {
    Frame frame = random_frame(protocol);
    Content content;
    protocol.encode(frame, content);
    const bool passes = protocol.passes_left(frame) != 0U;
    RC_ASSERT(protocol.forward(frame) == passes);
    RC_ASSERT(protocol.forward_bytes(content) == passes);
    RC_ASSERT(as_bytes(content) == content_of(protocol, frame));
  });
}

TEST_CASE("forwarding never makes bad bytes good") {
  for_every_bus("laundering", [](const Protocol& protocol) {
    Content content;
    protocol.encode(random_frame(protocol), content);
    const auto hits = drawn(1, 4);
    for (std::uint64_t i = 0; i < hits; ++i)
      content[drawn(0, content.size() - 1)] ^= static_cast<std::uint8_t>(drawn(1, 255));
    Frame read;
    const Damage before = protocol.parse(content.view(), read);
    if (!protocol.forward_bytes(content)) return;
    RC_ASSERT((protocol.parse(content.view(), read) == Damage::none) == (before == Damage::none));
  });
}

TEST_CASE("the head tells what the whole frame tells") {
  for_every_bus("head", [](const Protocol& protocol) {
    if (protocol.head_bytes() == 0) return;
    const Frame frame = random_frame(protocol);
    const Bytes content = content_of(protocol, frame);
    const auto head = protocol.parse_head(std::span(content).first(protocol.head_bytes()));
    RC_ASSERT(head.has_value());
    RC_ASSERT(head->role == frame.role);
    RC_ASSERT(protocol.passes_left(*head) == protocol.passes_left(frame));
  });
}
