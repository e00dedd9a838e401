// Answers that come too late, too old, or in place of another.
#include <cstdlib>

#include "books/late.h"
#include "support/buses.h"
#include "support/catch.h"
#include "support/small_chain.h"

namespace hopbench {
namespace {

/// One node; two questions in turn. The first answer of all comes just after the time-out of 100 ms: before the next
/// one's.
SmallChain two_questions(bool numbered) {
  SmallChain small = small_chain(Shape::ring, 1, numbered ? "readings" : "cell");
  if (!numbered) small.bus = buses::old_style();
  small.bus.line.baud = 100'000;
  small.poll_only(0, numbered ? "readings" : "cell", {{numbered ? "first" : "cell", 0}, {"count", 1}});
  PlanEntry other = small.chain.controller.plan.front();
  other.name = "other";
  other.arguments.front().second = 1;
  small.chain.controller.plan.push_back(other);
  small.controller().pace = 0;
  FaultSpec& delay = small.fault(FaultClass::delay);
  delay.links = {1};
  delay.at_most = 1;
  delay.by = 100 * millisecond;
  return small;
}

}  // namespace

TEST_CASE("a measurement longer than the time-out makes the answer late, and is named") {
  SmallChain small = small_chain(Shape::ring, 3, "readings");
  small.chain.kinds.push_back(small.kind());
  small.chain.kinds.back().name = "slow";
  small.chain.kinds.back().measurement.per_cell = 30 * millisecond;
  small.chain.nodes[1].kind = 1;
  const Collector kept = small.run(3);
  CHECK(exchange_number(kept, 0).seen.outcome == Outcome::answered);
  CHECK(exchange_number(kept, 2).seen.outcome == Outcome::answered);
  const KeptExchange& late = exchange_number(kept, 1);
  CHECK(late.seen.outcome == Outcome::late);
  CHECK(late.attempts[0].outcome == Outcome::late);
  CHECK(why(late).cause == Cause::measuring);
  CHECK(why(late).station == 1);
  CHECK_FALSE(late.answered.empty());
  CHECK(late.seen.closed > late.seen.decided);
  CHECK(kept.strays.size() == 1);
}

TEST_CASE("a way longer than the time-out makes every answer late, and the chain is named") {
  SmallChain small = small_chain(Shape::ring, 6);
  small.controller().time_out = 5 * millisecond;
  const Collector kept = small.run(6);
  CHECK(kept.count(Outcome::late) == 6);
  CHECK(kept.count(Cause::chain_time) == 6);
}

TEST_CASE("an answer on the deadline counts, one a nanosecond after it does not") {
  SmallChain small = small_chain(Shape::ring, 1);
  small.kind().answer_after = 7 * millisecond;
  small.controller().time_out = 7 * millisecond + 1'800 * microsecond;  // 18 characters of 100 us
  CHECK(small.run(1).count(Outcome::answered) == 1);
  small.controller().time_out -= 1;
  CHECK(small.run(1).count(Outcome::late) == 1);
}

TEST_CASE("without an exchange number a late answer is taken for the next one; with one it is not") {
  const OnLate on_late = GENERATE(OnLate::match_exchange, OnLate::accept, OnLate::ignore);
  SmallChain old_bus = two_questions(false);
  old_bus.controller().on_late = on_late;
  const Collector old_kept = old_bus.run(6);
  // Cell 0's answer, taken for cell 1's: source and topic fit. What the controller has flushed by a time-out is no
  // help: it comes while the next question is open.
  CHECK(exchange_number(old_kept, 0).seen.outcome == Outcome::late);
  CHECK(exchange_number(old_kept, 1).seen.outcome == Outcome::wrong);
  CHECK(why(exchange_number(old_kept, 1)).cause == Cause::earlier_answer);
  // And so on: each answer is one exchange late until a pause.
  CHECK(old_kept.count(Outcome::wrong) >= 2);

  SmallChain numbered = two_questions(true);
  numbered.controller().on_late = on_late;
  const Collector kept = numbered.run(6);
  CHECK(exchange_number(kept, 0).seen.outcome == Outcome::late);
  CHECK(why(exchange_number(kept, 0)).cause == Cause::injected_delay);
  if (on_late == OnLate::accept) {  // a controller that does not look at the number
    CHECK(exchange_number(kept, 1).seen.outcome == Outcome::wrong);
  } else {
    CHECK(kept.count(Outcome::answered) == 5);
  }
}

TEST_CASE("the same question's late answer gives an old value: stale") {
  SmallChain small = two_questions(false);
  small.chain.controller.plan.pop_back();
  const Collector kept = small.run(3);
  CHECK(exchange_number(kept, 0).seen.outcome == Outcome::late);
  CHECK(exchange_number(kept, 1).seen.outcome == Outcome::stale);
  CHECK(why(exchange_number(kept, 1)).cause == Cause::earlier_answer);
}

TEST_CASE("an answer from an old snapshot is stale where the plan wants fresh values") {
  SmallChain small = small_chain(Shape::ring, 1, "readings");
  small.kind().measurement.when = MeasureWhen::free_running;
  small.kind().measurement.period = 10 * second;
  small.controller().fresh_within = 4 * second;
  const Collector kept = small.run(50);  // 20 s
  std::size_t stale = 0;
  for (const KeptExchange& each : kept.exchanges) {
    // Newest snapshot finished before the answer was due: at 0, 10, 20 s.
    const Nanos age = each.seen.decided % (10 * second);
    const Nanos margin = 50 * millisecond;
    if (age < 4 * second - margin && age > margin) CHECK(each.seen.outcome == Outcome::answered);
    if (age > 4 * second + margin) {
      CHECK(each.seen.outcome == Outcome::stale);
      CHECK(why(each).cause == Cause::old_snapshot);
      ++stale;
    }
    // The age in the answer: 12 bytes of frame, first, count, age (ms, 16 bits).
    REQUIRE(each.answered.size() == 24);
    const int told = each.answered[12] * 256 + each.answered[13];
    CHECK(std::abs(told - static_cast<int>(age / millisecond)) <= 20);
  }
  CHECK(stale > 20);
  small.controller().fresh_within = 0;
  CHECK(small.run(50).count(Outcome::answered) == 50);
}

TEST_CASE("a late window closes the record before the answer comes, and frames still on their way are not told") {
  SmallChain small = small_chain(Shape::ring, 3);
  small.poll_only(0, "nameplate");
  small.controller().time_out = 2 * millisecond;
  small.controller().late_window = 2 * millisecond;
  const Collector kept = small.run(1);
  const KeptExchange& each = kept.exchanges.front();
  CHECK(each.seen.outcome == Outcome::lost);
  CHECK(each.seen.closed == each.seen.decided + 2 * millisecond);
  // Ask out at 1.2 ms, answer from 1.7 to 3.5 ms, on link 2 from 3.7 to 5.5 ms: the record closes at 5.2 ms.
  REQUIRE(each.rows.size() == 2);
  CHECK(each.rows[1].link == 1);
  CHECK(each.rows[1].symptom == Symptom::none);
  CHECK(each.row_truths.empty());
}

TEST_CASE("a record that closes while a fault still holds its frame names the fault") {
  for (const FaultClass kind : {FaultClass::delay, FaultClass::sequence}) {
    SmallChain small = small_chain(Shape::ring, 3);
    FaultSpec& held = small.fault(kind);
    held.links = {2};
    held.by = 250 * millisecond;
    small.controller().late_window = 20 * millisecond;
    const Collector kept = small.run(3);
    CHECK(kept.count(Outcome::lost) == 3);
    CHECK(kept.count(cause_of(kind)) == 3);
  }
}

TEST_CASE("a first try's answer that comes during the second one is taken, and that try was late") {
  SmallChain small = small_chain(Shape::ring, 1);
  small.controller().retries = 1;
  FaultSpec& delay = small.fault(FaultClass::delay);
  delay.links = {1};
  delay.at_most = 1;
  delay.by = 100 * millisecond;
  const Collector kept = small.run(1);
  const KeptExchange& each = kept.exchanges.front();
  REQUIRE(each.attempts.size() == 2);
  CHECK(each.seen.outcome == Outcome::answered);
  CHECK(each.attempts[0].outcome == Outcome::late);
  CHECK(why(each, 0).cause == Cause::injected_delay);
  CHECK(each.seen.round_trip == (12 + 18) * 100 * microsecond + 500 * microsecond + 100 * millisecond);
}

TEST_CASE("an answer that comes late after another's has come is late") {
  SmallChain small = small_chain(Shape::ring, 2, "readings");
  small.controller().pace = 0;
  FaultSpec& first = small.fault(FaultClass::delay, "first");
  first.links = {2};
  first.nodes = {0};
  first.at_most = 1;
  first.by = 101 * millisecond;
  FaultSpec& second_one = small.fault(FaultClass::delay, "second");
  second_one.links = {2};
  second_one.nodes = {1};
  second_one.at_most = 1;
  second_one.by = 150 * millisecond;
  const Collector kept = small.run(3);
  const KeptExchange& other = exchange_number(kept, 1);
  CHECK(other.seen.outcome == Outcome::late);
  CHECK(other.attempts[0].outcome == Outcome::late);
  CHECK(why(other).cause == Cause::injected_delay);
}

TEST_CASE("an answer that the measurement holds back is late even after another's has come") {
  SmallChain small = small_chain(Shape::ring, 2, "readings");
  small.controller().pace = 0;
  small.kind().measurement.settle = 120 * millisecond;
  const Collector kept = small.run(4);
  for (std::uint64_t i = 1; i < 3; ++i) {
    const KeptExchange& each = exchange_number(kept, i);
    CHECK(each.seen.outcome == Outcome::late);
    CHECK(each.attempts[0].outcome == Outcome::late);
    CHECK(why(each).cause == Cause::measuring);
  }
}

}  // namespace hopbench
