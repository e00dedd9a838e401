// What a node's kind cannot do: too short a buffer, unknown topics, bad checks, a FIFO outrun, clocks too far apart.
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// The third of five nodes is of a kind of its own.
KindSpec& third_is_special(SmallChain& small) {
  small.chain.kinds.push_back(small.kind());
  small.chain.kinds.back().name = "special";
  small.chain.nodes[2].kind = 1;
  return small.chain.kinds.back();
}

bool has(const KeptExchange& exchange, Symptom symptom, std::uint16_t link) {
  for (const HopRow& row : exchange.rows) {
    if (row.symptom == symptom && row.link == link) return true;
  }
  return false;
}

}  // namespace

TEST_CASE("a frame longer than a node's buffer ends there") {
  SmallChain small = small_chain(Shape::ring, 5, "readings");
  third_is_special(small).buffer_bytes = 23;  // asks of 14 bytes fit, answers of 12 + 4 + 2 * 4 do not
  const Collector kept = small.run(5);
  for (const KeptExchange& each : kept.exchanges) {
    if (each.seen.node >= 2) {  // the answer is made there or behind it
      CHECK(each.seen.outcome == Outcome::answered);
      continue;
    }
    CHECK(each.seen.outcome == Outcome::lost);
    CHECK(has(each, Symptom::no_room, 2));
    CHECK(why(each).cause == Cause::short_buffer);
    CHECK(why(each).station == 2);
    CHECK(why(each).link == 2);
  }
}

TEST_CASE("a frame as long as the buffer fits") {
  SmallChain small = small_chain(Shape::ring, 5, "readings");
  third_is_special(small).buffer_bytes = 24;
  CHECK(small.run(5).count(Outcome::answered) == 5);
}

TEST_CASE("who passes characters on as they come needs no room for the whole") {
  SmallChain small = small_chain(Shape::ring, 5, "readings");
  KindSpec& third = third_is_special(small);
  third.buffer_bytes = 23;
  third.forwarding.kind = Forwarding::by_character;
  const Collector kept = small.run(5);
  CHECK(kept.count(Outcome::answered) == 5);
  for (const KeptExchange& each : kept.exchanges) CHECK_FALSE(has(each, Symptom::no_room, 2));
}

TEST_CASE("who passes characters on as they come needs room for what is for itself") {
  SmallChain small = small_chain(Shape::ring, 5, "readings");
  KindSpec& third = third_is_special(small);
  third.buffer_bytes = 13;  // an ask has 14 bytes
  third.forwarding.kind = Forwarding::by_character;
  const Collector kept = small.run(5);
  CHECK(kept.count(Outcome::answered) == 4);
  CHECK(kept.exchanges[2].seen.outcome == Outcome::lost);
  CHECK(has(kept.exchanges[2], Symptom::no_room, 2));
  CHECK(why(kept.exchanges[2]).cause == Cause::short_buffer);
}

TEST_CASE("on a bus where unknown topics are not passed on, a node that does not know one cuts the ring") {
  SmallChain small = small_chain(Shape::ring, 5, "readings");
  third_is_special(small).topics = {"nameplate"};
  small.bus.forward.pass_unknown_topic = false;
  const Collector kept = small.run(5);
  for (const KeptExchange& each : kept.exchanges) {
    CHECK(each.seen.outcome == Outcome::lost);
    CHECK(why(each).cause == Cause::unknown_topic);
    CHECK(why(each).station == 2);
  }
}

TEST_CASE("an unknown topic is dropped or refused, as the kind says, and passed on to others in any case") {
  SmallChain small = small_chain(Shape::ring, 5, "readings");
  KindSpec& third = third_is_special(small);
  third.topics = {"nameplate"};
  third.on_unknown_topic = GENERATE(OnUnknownTopic::drop, OnUnknownTopic::refuse);
  const bool refuses = third.on_unknown_topic == OnUnknownTopic::refuse;
  const Collector kept = small.run(5);
  CHECK(kept.count(Outcome::answered) == 4);
  const KeptExchange& asked = exchange_number(kept, 2);
  CHECK(asked.seen.outcome == (refuses ? Outcome::refused : Outcome::lost));
  CHECK(why(asked).cause == (refuses ? Cause::refused_by_node : Cause::unknown_topic));
  CHECK(why(asked).station == 2);
}

TEST_CASE("a bad check is dropped, passed on, or refused by who seems to be meant") {
  // One bit of the ask on its way into the node asked, in 60 places.
  const OnBadCheck policy = GENERATE(OnBadCheck::drop, OnBadCheck::pass_on, OnBadCheck::refuse);
  std::size_t lost = 0;
  std::size_t garbled = 0;
  std::size_t refused = 0;
  std::size_t mismatched = 0;
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    SmallChain small = small_chain(Shape::ring, 5, "readings");
    small.seed = seed;
    small.kind().on_bad_check = policy;
    small.poll_only(1, "readings", {{"first", 0}, {"count", 4}});
    small.fault(FaultClass::corruption).links = {1};  // into the node asked
    const Collector kept = small.run(1);
    const KeptExchange& each = kept.exchanges.front();
    CHECK(why(each).cause == Cause::injected_corruption);
    lost += each.seen.outcome == Outcome::lost ? 1U : 0U;
    garbled += each.seen.outcome == Outcome::garbled ? 1U : 0U;
    refused += each.seen.outcome == Outcome::refused ? 1U : 0U;
    mismatched +=
        each.seen.outcome == Outcome::mismatched ? 1U : 0U;  // a refusal that repeats a damaged exchange number
    if (policy == OnBadCheck::pass_on && each.seen.outcome == Outcome::garbled) {
      REQUIRE(each.rows.size() == 6);
      for (std::size_t i = 2; i < 6; ++i) CHECK(each.rows[i].inherited);
    }
  }
  CHECK(lost + garbled + refused + mismatched == 60);
  if (policy == OnBadCheck::drop) CHECK(lost == 60);
  if (policy == OnBadCheck::pass_on) CHECK((garbled > 30 && refused == 0));
  if (policy == OnBadCheck::refuse) CHECK((refused > 10 && mismatched > 0 && garbled == 0));
}

TEST_CASE("a node that passes characters on is outrun by a faster sender behind it") {
  SmallChain small = small_chain(Shape::ring, 3, "readings");
  small.bus.line.stop_half_bits = 2;
  small.kind().cells = 16;
  small.kind().forwarding.kind = Forwarding::by_character;
  small.kind().forwarding.lag_half_bits = 1;
  small.poll_only(0, "readings", {{"first", 0}, {"count", 16}});
  // The FIFO holds the head until the node knows what to do with it, and little more.
  small.kind().forwarding.fifo_chars = 7;
  CHECK(small.run(3).count(Outcome::answered) == 3);
  ClockSpec fast;
  fast.error_ppb = 15'000'000;
  ClockSpec slow;
  slow.error_ppb = -15'000'000;
  small.chain.nodes[0].clock = fast;
  small.chain.nodes[1].clock = slow;
  const Way way = GENERATE(Way::events, Way::every_byte);
  small.way = way;
  const Collector kept = small.run(3);
  for (const KeptExchange& each : kept.exchanges) {
    CHECK(each.seen.outcome != Outcome::answered);
    CHECK(has(each, Symptom::overrun, 1));
    CHECK(why(each).cause == Cause::fifo_overrun);
    CHECK(why(each).link == 1);
  }
  // The other way round it never fills.
  small.chain.nodes[0].clock = slow;
  small.chain.nodes[1].clock = fast;
  CHECK(small.run(3).count(Outcome::answered) == 3);
}

// Tolerance of an 8N1 receiver with 16 samples: 95.36 to 104.58 % (ATmega48A...328P data sheet, table 20-2).
TEST_CASE("clocks six per cent apart never understand each other, and the cause is the clock") {
  const bool sender_is_fast = GENERATE(true, false);
  SmallChain small = small_chain(Shape::ring, 2, "readings");
  ClockSpec fast;
  fast.error_ppb = 30'000'000;
  ClockSpec slow;
  slow.error_ppb = -30'000'000;
  small.chain.nodes[0].clock = sender_is_fast ? fast : slow;
  small.chain.nodes[1].clock = sender_is_fast ? slow : fast;
  const Collector kept = small.run(40);
  CHECK(kept.count(Outcome::answered) == 0);
  for (const KeptExchange& each : kept.exchanges) {
    CHECK(why(each).cause == Cause::clock);
    CHECK(why(each).link == 1);
    CHECK(each.rows[0].symptom == Symptom::none);  // the controller's clock is right: three per cent
    CHECK(each.rows[1].symptom != Symptom::none);
  }
}

TEST_CASE("at the edge of tolerance some frames are damaged and others not") {
  SmallChain small = small_chain(Shape::ring, 2, "readings");
  small.poll_only(0, "readings", {{"first", 0}, {"count", 4}});
  small.kind().levels.swing_uv = 900'000;  // so that the bytes change
  small.kind().levels.swing_period = 50 * second;
  small.controller().pace = 13'377'777;
  std::size_t mixed = 0;
  for (std::int64_t apart = 26'000'000; apart <= 28'000'000; apart += 100'000) {
    ClockSpec slow;
    slow.error_ppb = -apart;
    ClockSpec fast;
    fast.error_ppb = apart;
    small.chain.nodes[0].clock = slow;
    small.chain.nodes[1].clock = fast;
    const Collector kept = small.run(100);
    const std::size_t clock = kept.count(Cause::clock);
    CHECK(clock + kept.count(Outcome::answered) == 100);
    if (apart == 26'000'000) CHECK(clock == 0);    // 94.9 %: two votes of three still agree (144 / (144 + 8) is 94.7 %)
    if (apart == 28'000'000) CHECK(clock == 100);  // 94.6 %
    if (clock > 0 && clock < 100) ++mixed;
  }
  CHECK(mixed >= 1);
}

}  // namespace hopbench
