// How long a clean exchange takes, by adding up what it is made of.
#include <cmath>

#include "support/buses.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

// A bit is 10 us, a character 100 us. Nameplate: 12 bytes out, 12 + 6 back (docs/bus-description.md).
constexpr Nanos character = 100 * microsecond;
constexpr Nanos ask = 12 * character;
constexpr Nanos answer = 18 * character;

}  // namespace

TEST_CASE("stored and passed on whole, a round trip is the sum of its hops") {
  const Way way = GENERATE(Way::events, Way::every_byte);
  for (const std::size_t nodes : {1U, 2U, 5U, 16U}) {
    SmallChain small = small_chain(Shape::ring, nodes);
    small.way = way;
    small.kind().forwarding.after = 230 * microsecond;
    small.kind().answer_after = 1'700 * microsecond;
    const Collector kept = small.run(2 * nodes);
    REQUIRE(kept.count(Outcome::answered) == 2 * nodes);
    for (const KeptExchange& each : kept.exchanges) {
      const auto k = static_cast<Nanos>(each.seen.node);
      const auto n = static_cast<Nanos>(nodes);
      CHECK(each.seen.round_trip ==
            (k + 1) * ask + (n - k) * answer + (n - 1) * 230 * microsecond + 1'700 * microsecond);
      CHECK(each.rows.size() == nodes + 1);
    }
  }
}

TEST_CASE("in a line the answer comes back over as many hops as the ask went out on") {
  SmallChain small = small_chain(Shape::line, 6);
  small.kind().forwarding.after = 230 * microsecond;
  small.kind().answer_after = 1'700 * microsecond;
  for (LinkSpec& link : small.chain.links) link.isolator_delay = 1'500;
  const Collector kept = small.run(6);
  for (const KeptExchange& each : kept.exchanges) {
    const auto k = static_cast<Nanos>(each.seen.node);
    CHECK(each.seen.round_trip ==
          (k + 1) * (ask + answer) + 2 * k * 230 * microsecond + 1'700 * microsecond + 2 * (k + 1) * 1'500);
  }
}

TEST_CASE("character by character, each hop costs the head of the frame and the lag") {
  const Way way = GENERATE(Way::events, Way::every_byte);
  SmallChain small = small_chain(Shape::ring, 5);
  small.way = way;
  small.kind().forwarding.kind = Forwarding::by_character;
  small.kind().forwarding.lag_half_bits = 3;
  small.kind().answer_after = millisecond;
  // Marker, passes left, revision and role, to, from, size, header check: seven characters tell what to do with it.
  REQUIRE(Protocol(small.bus).head_bytes() == 7);
  const Nanos hop = 7 * character + 15 * microsecond;
  const Collector kept = small.run(5);
  for (const KeptExchange& each : kept.exchanges) {
    // The node asked takes the frame off; its answer passes those after it.
    CHECK(each.seen.round_trip == ask + answer + 4 * hop + millisecond);
    CHECK(each.seen.outcome == Outcome::answered);
  }
}

TEST_CASE("passed on electrically, each hop costs an isolator and a delay") {
  const Way way = GENERATE(Way::events, Way::every_byte);
  SmallChain small = small_chain(Shape::ring, 4);
  small.way = way;
  small.bus.forward.rewrite.clear();  // nobody can rewrite what runs through
  small.bus.roles.passes_left.clear();
  small.kind().forwarding.kind = Forwarding::electrical;
  small.kind().forwarding.delay = 700;
  small.kind().answer_after = 2 * millisecond;
  for (LinkSpec& link : small.chain.links) link.isolator_delay = 1'300;
  const Collector kept = small.run(8);
  for (const KeptExchange& each : kept.exchanges) {
    CHECK(each.seen.outcome == Outcome::answered);
    CHECK(each.seen.round_trip == ask + answer + 5 * 1'300 + 3 * 700 + 2 * millisecond);
  }
}

// Arithmetic: ten bytes of 8N1 at 115200 Bd are 868.056 us, over sixteen hops stored at each 13.8889 ms.
TEST_CASE("ten bytes to everyone round a ring of sixteen hops") {
  SmallChain small = small_chain(Shape::ring, 15);
  small.bus = buses::old_style();
  small.bus.line = {115'200, 8, Parity::none, 2};
  small.bus.framing.fixed_bytes = 10;
  small.bus.forward.unclaimed = Unclaimed::returns;
  small.kind().forwarding.after = 0;
  small.poll_only(0xffff, "bleed", {{"cells", 0}});
  const Collector kept = small.run(1);
  REQUIRE(kept.exchanges.front().rows.size() == 16);
  REQUIRE(kept.exchanges.front().rows.front().chars == 10);
  CHECK(std::abs(static_cast<double>(kept.exchanges.front().seen.round_trip) - 13'888'888.9) < 16);
}

TEST_CASE("where silence ends a frame, each station waits for it") {
  const Way way = GENERATE(Way::events, Way::every_byte);
  SmallChain small = modbus_chain(3);
  small.way = way;
  small.kind().forwarding.after = 100 * microsecond;
  small.kind().answer_after = 900 * microsecond;
  const Collector kept = small.run(3);
  // MODBUS over serial line V1.02, 2.5.1.1: above 19200 Bd a silence of 1.750 ms ends a frame. 11 bits a character
  // (8E1), here 110 us; ask 8 bytes, answer 5 + 2 * 4.
  for (const KeptExchange& each : kept.exchanges) {
    REQUIRE(each.seen.outcome == Outcome::answered);
    const auto k = static_cast<Nanos>(each.seen.node);
    const Nanos wire = (k + 1) * 8 * 110 * microsecond + (3 - k) * 13 * 110 * microsecond;
    CHECK(each.seen.round_trip == wire + 3 * 1'750 * microsecond + 2 * 100 * microsecond + 900 * microsecond);
  }
}

TEST_CASE("a measurement holds the answer back by what it takes") {
  SmallChain small = small_chain(Shape::ring, 2, "readings");
  small.kind().answer_after = millisecond;
  small.kind().measurement.settle = 3 * millisecond;
  small.kind().measurement.snapshot = 2 * millisecond;
  small.kind().measurement.per_cell = 4 * millisecond;
  const Collector kept = small.run(2);
  // Readings of 4 cells: 14 bytes out, 12 + 4 + 8 back; one node stores and passes on (200 us unless told otherwise).
  const Nanos waits = millisecond + (3 + 2 + 4 * 4) * millisecond + 200 * microsecond;
  CHECK(kept.exchanges[0].seen.round_trip == (14 + 2 * 24) * character + waits);
  CHECK(kept.exchanges[1].seen.round_trip == (2 * 14 + 24) * character + waits);
}

}  // namespace hopbench
