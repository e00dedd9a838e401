// The controller's manners: tries and pauses between them, everyone at once, passes left, pace.
#include <algorithm>
#include <cmath>
#include <string>

#include "support/small_chain.h"
#include "support/catch.h"

namespace hopbench {
namespace {

SmallChain deaf(std::uint32_t retries) {
  SmallChain small = small_chain(Shape::ring, 2);
  small.fault(FaultClass::loss).links = {0};
  small.controller().retries = retries;
  small.controller().pace = 0;
  return small;
}

}  // namespace

TEST_CASE("tries follow each other after the time-out and a pause that grows up to its limit") {
  SmallChain small = deaf(4);
  small.controller().back_off = {10 * millisecond, 2, 25 * millisecond, 0};
  const Collector kept = small.run(1);
  const KeptExchange& each = kept.exchanges.front();
  REQUIRE(each.attempts.size() == 5);
  CHECK(each.seen.outcome == Outcome::lost);
  const Nanos pauses[] = {10 * millisecond, 20 * millisecond, 25 * millisecond, 25 * millisecond};
  for (std::size_t i = 0; i < 4; ++i) {
    CHECK(each.attempts[i].ask_end == each.attempts[i].start + 1'200 * microsecond);
    CHECK(each.attempts[i + 1].start == each.attempts[i].ask_end + 100 * millisecond + pauses[i]);
    CHECK(each.attempts[i].outcome == Outcome::lost);
  }
  CHECK(each.seen.decided == each.attempts[4].ask_end + 100 * millisecond);
}

TEST_CASE("jitter is added within its bounds, and differs from exchange to exchange") {
  SmallChain small = deaf(1);
  small.controller().back_off = {10 * millisecond, 1, never, 4 * millisecond};
  const Collector kept = small.run(200);
  Nanos least = never;
  Nanos most = 0;
  double sum = 0;
  for (const KeptExchange& each : kept.exchanges) {
    const Nanos jitter = each.attempts[1].start - each.attempts[0].ask_end - 110 * millisecond;
    REQUIRE(jitter >= 0);
    REQUIRE(jitter <= 4 * millisecond);
    least = std::min(least, jitter);
    most = std::max(most, jitter);
    sum += static_cast<double>(jitter);
  }
  CHECK(least < millisecond / 5);
  CHECK(most > 4 * millisecond - millisecond / 5);
  // Uniform: mean 2 ms, standard deviation 4 ms / sqrt(12), of 200 draws.
  CHECK(std::abs(sum / 200 - 2e6) < 4 * 4e6 / std::sqrt(12.0 * 200));
}

TEST_CASE("a second try may do what the first could not") {
  SmallChain small = deaf(2);
  small.chain.faults.front().at_most = 1;
  const Collector kept = small.run(1);
  const KeptExchange& each = kept.exchanges.front();
  REQUIRE(each.attempts.size() == 2);
  CHECK(each.seen.outcome == Outcome::answered);
  CHECK(each.attempts[0].outcome == Outcome::lost);
  CHECK(each.attempts[1].outcome == Outcome::answered);
  CHECK(why(each, 0).cause == Cause::injected_loss);
  CHECK(why(each, 1).cause == Cause::none);
  CHECK(each.seen.round_trip == each.rows.back().end - each.attempts[1].start);
}

TEST_CASE("after a garbled answer it asks again at once, or waits out its time, as told") {
  SmallChain small = small_chain(Shape::ring, 1);
  small.fault(FaultClass::corruption).links = {1};
  small.chain.faults.front().at_most = 1;
  small.controller().retries = 1;
  small.controller().retry_garbled_at_once = GENERATE(true, false);
  const Collector kept = small.run(1);
  const KeptExchange& each = kept.exchanges.front();
  REQUIRE(each.attempts.size() == 2);
  CHECK(each.attempts[0].outcome == Outcome::garbled);
  CHECK(each.seen.outcome == Outcome::answered);
  const Nanos pause = each.attempts[1].start - each.attempts[0].ask_end;
  if (small.chain.controller.retry_garbled_at_once) {
    CHECK(pause < 10 * millisecond);
  } else {
    CHECK(pause == 100 * millisecond);
  }
}

TEST_CASE("an ask to everyone is acted on once by each, answered by none, and comes round") {
  SmallChain small = small_chain(Shape::ring, 4, "conditions");
  small.kind().cells = 4;
  small.kind().board.bleed_mohm = 33'000;
  PlanEntry everyone;
  everyone.name = "bleed/everyone";
  everyone.topic = "bleed";
  everyone.arguments = {{"cells", 9}};
  small.controller().plan.insert(small.controller().plan.begin(), everyone);
  const Collector kept = small.run(5);
  CHECK(kept.count(Outcome::answered) == 5);
  const KeptExchange& all = exchange_number(kept, 0);
  CHECK(all.seen.node == 0xffff);
  REQUIRE(all.rows.size() == 5);
  for (std::uint16_t link = 0; link < 5; ++link) {
    CHECK(all.rows[link].link == link);
    CHECK_FALSE(all.rows[link].answering);
  }
  // 14 bytes over five links, stored for 200 us in each node.
  CHECK(all.seen.round_trip == 5 * 1'400 * microsecond + 4 * 200 * microsecond);
  for (std::uint64_t i = 1; i < 5; ++i) CHECK(exchange_number(kept, i).answered.at(15) == 9);
}

TEST_CASE("an ask to everyone that comes round after the next try was sent counts for its own try") {
  SmallChain small = small_chain(Shape::ring, 4);
  small.poll_only(0xffff, "bleed", {{"cells", 9}});
  small.controller().time_out = 5 * millisecond;  // round takes 7.8 ms
  small.controller().retries = 1;
  const Collector kept = small.run(1);
  const KeptExchange& each = kept.exchanges.front();
  REQUIRE(each.attempts.size() == 2);
  CHECK(each.seen.outcome == Outcome::answered);
  CHECK(each.attempts[0].outcome == Outcome::late);
  CHECK(why(each, 0).cause == Cause::chain_time);
  CHECK(each.attempts[1].outcome == Outcome::answered);  // its wait was over with that
  CHECK(each.seen.round_trip == 5 * 1'400 * microsecond + 4 * 200 * microsecond);
}

TEST_CASE("an ask to everyone that comes round too late is explained") {
  SmallChain small = small_chain(Shape::ring, 4);
  small.poll_only(0xffff, "bleed", {{"cells", 9}});
  small.controller().time_out = 5 * millisecond;
  const Collector kept = small.run(1);
  CHECK(kept.exchanges.front().seen.outcome == Outcome::lost);
  CHECK(why(kept.exchanges.front()).cause == Cause::chain_time);
}

TEST_CASE("a refusal that comes after the next try was sent counts for its own try") {
  SmallChain small = small_chain(Shape::ring, 1, "readings");
  small.kind().topics = {"nameplate"};
  small.kind().on_unknown_topic = OnUnknownTopic::refuse;
  small.kind().answer_after = 6 * millisecond;
  small.controller().time_out = 5 * millisecond;
  small.controller().retries = 1;
  const Collector kept = small.run(1);
  const KeptExchange& each = kept.exchanges.front();
  REQUIRE(each.attempts.size() == 2);
  CHECK(each.seen.outcome == Outcome::refused);
  CHECK(each.attempts[0].outcome == Outcome::refused);
  CHECK(why(each, 0).cause == Cause::refused_by_node);
  // 14 characters out, 13 back.
  CHECK(each.seen.round_trip == 2'700 * microsecond + 6 * millisecond);
}

TEST_CASE("in a line an ask to everyone is over when it is out, and reaches the last") {
  SmallChain small = small_chain(Shape::line, 3, "conditions");
  small.kind().cells = 4;
  small.kind().board.bleed_mohm = 33'000;
  PlanEntry everyone;
  everyone.name = "bleed/everyone";
  everyone.topic = "bleed";
  everyone.arguments = {{"cells", 9}};
  small.controller().plan.insert(small.controller().plan.begin(), everyone);
  const Collector kept = small.run(4);
  CHECK(exchange_number(kept, 0).seen.outcome == Outcome::answered);
  CHECK(exchange_number(kept, 0).rows.size() == 3);
  for (std::uint64_t i = 1; i < 4; ++i) CHECK(exchange_number(kept, i).answered.at(15) == 9);
}

TEST_CASE("a frame with too few passes left is taken off the chain where they are used up") {
  SmallChain small = small_chain(Shape::ring, 5);
  small.controller().passes = 2;
  const Collector kept = small.run(5);
  for (const KeptExchange& each : kept.exchanges) {
    // Two nodes may pass it on: the first three are reached.
    if (each.seen.node <= 2) {
      CHECK(each.seen.outcome == Outcome::answered);
      continue;
    }
    CHECK(each.seen.outcome == Outcome::lost);
    CHECK(why(each).cause == Cause::passes_used_up);
    CHECK(why(each).station == 2);
    CHECK(each.rows.size() == 3);
  }
}

TEST_CASE("exchanges start a pace apart, or a gap after the one before, whichever is later") {
  SmallChain small = small_chain(Shape::ring, 1);
  small.controller().pace = 50 * millisecond;
  Collector kept = small.run(10);
  for (std::uint64_t i = 0; i < 10; ++i)
    CHECK(exchange_number(kept, i).seen.start == static_cast<Nanos>(i) * 50 * millisecond);
  small.controller().gap = 70 * millisecond;
  kept = small.run(10);
  for (std::uint64_t i = 1; i < 10; ++i) {
    CHECK(exchange_number(kept, i).seen.start == exchange_number(kept, i - 1).seen.decided + 70 * millisecond);
    CHECK(exchange_number(kept, i).seen.since_last == 70 * millisecond);
  }
}

TEST_CASE("an entry of every third round is asked in every third round") {
  SmallChain small = small_chain(Shape::ring, 2);
  small.controller().plan[1].every = 3;
  const Collector kept = small.run(16);
  std::string order;
  for (std::uint64_t i = 0; i < 16; ++i) order += entry_name(kept, exchange_number(kept, i)).back();
  CHECK(order == "1211121112111211");
}

TEST_CASE("a plan without anything to ask ends at once") {
  SmallChain small = small_chain(Shape::ring, 2);
  small.controller().plan.clear();
  const Protocol protocol(small.bus);
  Collector kept;
  Chain chain(protocol, small.chain, 1, Way::events, Seat::simulated, kept);
  CHECK_FALSE(chain.run_exchanges(1));
  CHECK(chain.next_at() == never);
}

}  // namespace hopbench
