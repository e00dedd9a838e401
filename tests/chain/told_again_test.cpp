// Small cases in which an exchange told again from its recording, or a frame told without bytes, once differed from
// what the events or the bytes give.
#include <algorithm>
#include <cstdint>
#include <vector>

#include "base/luck.h"
#include "seen/ignoring_sink.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

void require_equal(const Collector& one, const Collector& other) {
  for (std::size_t i = 0; i < std::min(one.exchanges.size(), other.exchanges.size()); ++i) {
    REQUIRE(describe(one.exchanges[i]) == describe(other.exchanges[i]));
  }
  REQUIRE(one.exchanges.size() == other.exchanges.size());
  REQUIRE(one.strays == other.strays);
  REQUIRE(one.ended == other.ended);
}

Collector run_as(SmallChain small, Way way, std::uint64_t exchanges) {
  small.way = way;
  return small.run(exchanges);
}

Collector run_in_calls(const SmallChain& small, Way way, std::uint64_t exchanges) {
  const Protocol protocol(small.bus);
  Collector kept;
  Chain chain(protocol, small.chain, small.seed, way, Seat::simulated, kept);
  for (std::uint64_t each = 1; each <= exchanges; ++each) REQUIRE(chain.run_exchanges(each));
  chain.finish({});
  return kept;
}

/// Keeps what is not as the rest: too many exchanges to keep them all. The others go into one number.
class Digest final : public IgnoringSink {
 public:
  std::uint64_t all = 0;
  std::vector<std::uint64_t> unhealthy;  // numbers
  void exchange(const ExchangeObs& seen, const ExchangeTruth*) override {
    const auto fold = [&](auto value) { all = name_hash(all, static_cast<std::uint64_t>(value)); };
    for (const std::uint64_t each : {seen.number, seen.turn}) fold(each);
    for (const Nanos each : {seen.start, seen.decided, seen.closed, seen.round_trip, seen.since_last}) fold(each);
    fold(seen.outcome);
    for (const HopRow& row : seen.rows) {
      fold(row.end);
      fold(row.symptom);
    }
    for (const std::uint8_t byte : seen.asked) fold(byte);
    for (const std::uint8_t byte : seen.answered) fold(byte);
    if (seen.outcome != Outcome::answered) unhealthy.push_back(seen.number);
  }
  void stray(const Stray& stray) override { all = name_hash(all, static_cast<std::uint64_t>(stray.at)); }
  void end(Nanos until, const Lateness&) override { all = name_hash(all, static_cast<std::uint64_t>(until)); }
};

/// An ask to everyone in a line, which nobody answers.
SmallChain asks_everyone(std::size_t nodes) {
  SmallChain small = small_chain(Shape::line, nodes, "line_health");
  PlanEntry all = small.chain.controller.plan.front();
  all.name = "everyone";
  all.node = 0xffff;
  all.topic = "nameplate";
  small.controller().plan.insert(small.controller().plan.begin(), all);
  return small;
}

}  // namespace

TEST_CASE("a record that was closed before all of its frames had arrived is not told again") {
  // The ask to everyone is decided as soon as it is out, and its record closed a moment later: what happens to it on
  // its way down the line is in no record, but the last node's counters tell of it.
  SmallChain small = asks_everyone(4);
  small.controller().late_window = 1 * microsecond;
  small.chain.links[3].bit_error = certain / 1000;
  const Collector events = run_as(small, Way::events, 500);
  std::size_t damaged = 0;
  for (const KeptExchange& each : events.exchanges) {
    if (entry_name(events, each) == "everyone") {
      REQUIRE(each.rows.size() < 4);
    } else if (each.seen.node == 3) {
      damaged += each.answered.size() > 15 && each.answered[15] != 0 ? 1U : 0U;  // high or low byte of the counter
    }
  }
  CHECK(damaged > 0);
  require_equal(events, run_as(small, Way::repeats, 500));
}

TEST_CASE("an exchange that was nearly tried again is not told again") {
  // What was asked of everyone comes round after the time-out, sometimes before the second try and sometimes after it.
  SmallChain small = small_chain(Shape::ring, 3);
  small.poll_only(0xffff, "nameplate");
  small.controller().time_out = 2 * millisecond;
  small.controller().retries = 1;
  small.controller().back_off.jitter = 4 * millisecond;
  const Collector events = run_as(small, Way::events, 200);
  const auto once = std::count_if(events.exchanges.begin(), events.exchanges.end(),
                                  [](const KeptExchange& each) { return each.attempts.size() == 1; });
  CHECK(once > 20);
  CHECK(once < 180);
  require_equal(events, run_as(small, Way::repeats, 200));
}

TEST_CASE("a hit is met far beyond what is looked ahead") {
  // Noise is looked for 65,536 turns ahead at most; the hits lie some 40,000 turns apart, and exchange numbers wrap
  // twice.
  SmallChain small = small_chain(Shape::ring, 1, "line_health");
  for (LinkSpec& link : small.chain.links) link.bit_error = 35'000'000;
  const auto digest = [&](Way way) {
    const Protocol protocol(small.bus);
    Digest kept;
    Chain chain(protocol, small.chain, small.seed, way, Seat::simulated, kept);
    REQUIRE(chain.run_exchanges(300'000));
    chain.finish({});
    return kept;
  };
  const Digest events = digest(Way::events);
  const Digest repeats = digest(Way::repeats);
  REQUIRE(events.unhealthy.size() > 1);
  std::uint64_t longest = 0;
  for (std::size_t i = 1; i < events.unhealthy.size(); ++i) {
    longest = std::max(longest, events.unhealthy[i] - events.unhealthy[i - 1]);
  }
  CHECK(longest > 65'536);
  CHECK(repeats.unhealthy == events.unhealthy);
  CHECK(repeats.all == events.all);
}

TEST_CASE("the next exchange is due when it is due, in one call or in many") {
  // The record is closed at the very instant at which the next exchange begins.
  SmallChain small = asks_everyone(1);
  small.chain.links[0].isolator_delay = 700 * microsecond;
  small.controller().gap = 700 * microsecond;
  small.controller().pace = 0;
  const Collector once = run_as(small, Way::events, 30);
  REQUIRE(std::any_of(once.exchanges.begin(), once.exchanges.end() - 1,
                      [&](const KeptExchange& each) { return (&each + 1)->seen.start == each.seen.closed; }));
  require_equal(once, run_as(small, Way::repeats, 30));
  require_equal(once, run_in_calls(small, Way::events, 30));
  require_equal(once, run_in_calls(small, Way::repeats, 30));
}

TEST_CASE("a node that goes off as a frame ends does the same to it, with bytes or without") {
  SmallChain small = asks_everyone(3);
  small.kind().forwarding.kind = Forwarding::by_character;
  const Nanos end = small.run(1).exchanges.front().rows.front().end;
  FaultSpec& reset = small.fault(FaultClass::reset);
  reset.nodes = {0};
  for (const Nanos at : {end - 1, end, end + 1}) {
    small.chain.faults.front().at = {at};
    const Collector events = run_as(small, Way::events, 10);
    // Without its last character nobody passes it on.
    CHECK((events.exchanges.front().rows.size() > 1) == (at > end));
    require_equal(events, run_as(small, Way::every_byte, 10));
    require_equal(events, run_as(small, Way::repeats, 10));
  }
}

TEST_CASE("damage to what is passed on by character under stuffing has its reason, with bytes or without") {
  // A frame whose end is lost is given up by silence, when the record of what nobody answers is closed already.
  SmallChain small = asks_everyone(3);
  small.bus.framing = {};
  small.bus.framing.kind = FramingKind::cobs;
  small.bus.framing.abandon_char_tenths = 30;
  small.bus.framing.max_bytes = 40;
  small.kind().forwarding.kind = Forwarding::by_character;
  for (LinkSpec& link : small.chain.links) link.bit_error = certain / 1000;
  const Collector events = run_as(small, Way::events, 300);
  std::size_t too_short = 0;
  for (const KeptExchange& each : events.exchanges) {
    for (std::size_t row = 0; row < each.rows.size(); ++row) {
      if (each.rows[row].symptom == Symptom::none) continue;
      if (each.rows[row].symptom == Symptom::too_short) ++too_short;
      INFO(describe(each));
      REQUIRE(std::any_of(each.row_truths.begin(), each.row_truths.end(),
                          [&](const RowTruth& truth) { return truth.row == row; }));
    }
  }
  CHECK(too_short > 0);
  require_equal(events, run_as(small, Way::every_byte, 300));
  require_equal(events, run_as(small, Way::repeats, 300));
}

}  // namespace hopbench
