// Forwarding by cases: what is taken off, what is repaired, what stays wrong.
#include <algorithm>
#include <functional>

#include "bus_test_tools.h"
#include "support/buses.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::testing;

namespace {

BusDescription counting_bus(CheckRepair repair, SumKind kind) {
  BusDescription bus;
  bus.name = "counting";
  bus.framing.kind = FramingKind::silence;
  bus.framing.silence_char_tenths = 20;
  CheckSpec inner;
  inner.name = "inner";
  inner.kind = kind;
  inner.bits = 8;
  inner.crc = {.width = 8, .poly = 0x07, .init = 0x12, .xorout = 0x34};
  inner.covers = {"passes"};
  CheckSpec apart = inner;
  apart.name = "apart";
  apart.covers = {"payload"};
  CheckSpec outer = inner;
  outer.name = "outer";
  outer.covers = {};
  bus.parts = {buses::part(buses::field("passes", 8)),
               buses::part(buses::field("travelled", 8)),
               buses::part(inner),
               buses::payload_part(),
               buses::part(apart),
               buses::part(outer)};
  bus.roles.passes_left = "passes";
  bus.roles.tell_role = TellRole::by_position;
  bus.forward.rewrite = {{"passes", -1}, {"travelled", 1}};
  bus.forward.repair = repair;
  TopicSpec topic;
  topic.name = "only";
  bus.topics = {topic};
  return bus;
}

}  // namespace

TEST_CASE("a bench-frame is taken off the chain once passes left is used up") {
  const Protocol protocol(buses::bench_frame());
  Frame frame = protocol.ask(0, 7, 1, 2);
  CHECK(protocol.forward(frame));
  CHECK(protocol.passes_left(frame) == 1U);
  CHECK(protocol.forward(frame));
  CHECK(protocol.passes_left(frame) == 0U);
  CHECK_FALSE(protocol.forward(frame));
  Content content;
  protocol.encode(frame, content);
  const Bytes before(content.view().begin(), content.view().end());
  CHECK_FALSE(protocol.forward_bytes(content));
  CHECK(Bytes(content.view().begin(), content.view().end()) == before);
}

TEST_CASE("forwarding a bench-frame leaves the end-to-end check as it was") {
  const Protocol protocol(buses::bench_frame());
  Content content;
  protocol.encode(protocol.ask(0, 7, 1, 20), content);
  const Bytes before(content.view().begin(), content.view().end());
  REQUIRE(protocol.forward_bytes(content));
  for (std::size_t i = 0; i < before.size(); ++i) {
    INFO("byte " << i);
    CHECK((content[i] != before[i]) == (i == 1 || i == 6));  // passes left and header check
  }
}

TEST_CASE("by difference, a wrong header check is wrong by the same bits afterwards") {
  const Protocol protocol(buses::bench_frame());
  for (unsigned wrong = 1; wrong < 256; ++wrong) {
    Content content;
    protocol.encode(protocol.ask(0, 7, 1, 20), content);
    content[6] = static_cast<std::uint8_t>(content[6] ^ wrong);
    REQUIRE(protocol.forward_bytes(content));
    Content made;
    Frame frame = protocol.ask(0, 7, 1, 20);
    REQUIRE(protocol.forward(frame));
    protocol.encode(frame, made);
    CHECK((content[6] ^ made[6]) == static_cast<int>(wrong));
  }
}

TEST_CASE("checks of every kind are repaired, those behind others too, and wrong ones stay wrong") {
  for (const auto repair : {CheckRepair::if_good, CheckRepair::by_difference}) {
    for (const auto kind : {SumKind::crc, SumKind::sum, SumKind::negated_sum, SumKind::exclusive_or, SumKind::ones_sum,
                            SumKind::negated_ones_sum}) {
      const BusDescription bus = counting_bus(repair, kind);
      REQUIRE(Protocol::faults_of(bus).empty());
      const Protocol protocol(bus);
      for (const unsigned passes : {1U, 128U, 255U}) {
        Frame frame;
        frame.field[0] = passes;
        frame.field[1] = 255;  // wraps
        frame.payload.assign(hex("01 02 03"));
        Content content;
        protocol.encode(frame, content);
        Frame forwarded = frame;
        REQUIRE(protocol.forward(forwarded));
        CHECK(forwarded.field[1] == 0);
        Content good = content;
        REQUIRE(protocol.forward_bytes(good));
        CHECK(Bytes(good.view().begin(), good.view().end()) == content_of(protocol, forwarded));
        // Every wrong value of every check.
        for (const std::size_t check : {std::size_t{2}, content.size() - 2, content.size() - 1}) {
          for (unsigned wrong = 1; wrong < 256; ++wrong) {
            Content bad = content;
            bad[check] = static_cast<std::uint8_t>(bad[check] ^ wrong);
            REQUIRE(protocol.forward_bytes(bad));
            Frame read;
            REQUIRE(protocol.parse(bad.view(), read) == Damage::check);
          }
        }
      }
    }
  }
}

TEST_CASE("a distance is counted down to here, but for everyone's and the controller's value") {
  BusDescription bus = counting_bus(CheckRepair::by_difference, SumKind::crc);
  bus.roles.passes_left = "";
  bus.roles.distance = "passes";
  bus.roles.broadcast = {255};
  bus.roles.controller_address = 254;
  REQUIRE(Protocol::faults_of(bus).empty());
  const Protocol protocol(bus);
  using Bound = Protocol::Bound;
  Frame frame = protocol.ask(0, 2, 0, 0);
  CHECK(protocol.bound_for(frame, 0) == Bound::elsewhere);
  REQUIRE(protocol.forward(frame));
  REQUIRE(protocol.forward(frame));
  CHECK(protocol.bound_for(frame, std::nullopt) == Bound::here);
  CHECK_FALSE(protocol.forward(frame));
  Frame answer = protocol.answer_to(frame, 0, 0);
  CHECK(protocol.bound_for(answer, 3) == Bound::controller);
  REQUIRE(protocol.forward(answer));
  CHECK(protocol.bound_for(answer, 3) == Bound::controller);
  Frame everyone = protocol.ask(0, 255, 0, 0);
  REQUIRE(protocol.forward(everyone));
  CHECK(protocol.bound_for(everyone, 3) == Bound::everyone);
}

TEST_CASE("content too short to have the fields is not forwarded and not touched") {
  const Protocol protocol(buses::bench_frame());
  Content content;
  content.assign(hex("B5 10 21 07"));
  CHECK_FALSE(protocol.forward_bytes(content));
  CHECK(Bytes(content.view().begin(), content.view().end()) == hex("B5 10 21 07"));
  content.clear();
  CHECK_FALSE(protocol.forward_bytes(content));
}

TEST_CASE("what was forwarded is undone byte by byte") {
  for (const CheckRepair repair : {CheckRepair::by_difference, CheckRepair::if_good}) {
    for (const SumKind kind : {SumKind::crc, SumKind::sum}) {
      const Protocol protocol(counting_bus(repair, kind));
      for (std::uint64_t passes = 1; passes < 200; passes += 7) {
        Frame frame;
        frame.field[0] = passes;
        frame.field[1] = 255 - passes;
        Content sent;
        protocol.encode(frame, sent);
        Content content = sent;
        const int hops = static_cast<int>(std::min<std::uint64_t>(passes, 5));
        for (int hop = 0; hop < hops; ++hop) REQUIRE(protocol.forward_bytes(content));
        CHECK_FALSE(content == sent);
        for (int hop = 0; hop < hops; ++hop) protocol.undo_forward(content);
        CHECK(content == sent);
      }
    }
  }
}
