// What belongs together, rule by rule. Expected results are worked out by hand from the rules in docs/assembly.md.
#include "assembly/assembler.h"

#include <string>

#include "assembly/seat_bench.h"
#include "support/buses.h"
#include "support/catch.h"

namespace hopbench {
namespace {

using Options = SeatBench::Options;

std::vector<Outcome> outcomes(const AssembledExchange& exchange) {
  std::vector<Outcome> all;
  for (const AssembledTry& each : exchange.tries) all.push_back(each.outcome);
  return all;
}

std::vector<std::uint8_t> bytes_of(const Content& content) { return {content.view().begin(), content.view().end()}; }

/// A controller of which nothing is known but what it asks.
SeatBench numbered() { return {buses::bench_frame(), Options{}}; }

}  // namespace

TEST_CASE("with exchange numbers several asks are in flight, and each answer finds its own", "[assembly]") {
  SeatBench bench = numbered();
  std::vector<Frame> asks;
  std::vector<std::uint64_t> asked;
  for (std::uint64_t i = 0; i < 4; ++i) {
    asks.push_back(bench.ask_of(1 + i % 3, "nameplate", 100 + i));  // the first and the last go to one node
    asked.push_back(bench.asks(asks.back(), static_cast<Nanos>(10 + i)));
  }
  // They come home in the opposite order.
  std::vector<std::uint64_t> answers(4);
  for (std::uint64_t i = 4; i-- > 0;) {
    answers[i] = bench.comes(bench.answer_to(asks[i], 1 + i % 3), static_cast<Nanos>(30 - i));
  }
  bench.end();
  REQUIRE(bench.exchanges.size() == 4);
  for (std::uint64_t i = 0; i < 4; ++i) {
    const AssembledExchange& each = bench.of(asked[i]);
    CHECK(each.number == i);
    CHECK(each.node == i % 3);
    CHECK(each.outcome == Outcome::answered);
    CHECK(each.tries.front().answered == answers[i]);
    CHECK(each.round_trip == static_cast<Nanos>(30 - i + 1 - (10 + i)) * millisecond);
    CHECK_FALSE(each.ambiguous);
  }
  CHECK(bench.strays.empty());
}

TEST_CASE("an ask with the number of one that is not answered yet is another try of it", "[assembly]") {
  SeatBench bench = numbered();
  const Frame ask = bench.ask_of(2, "readings", 7, {{"first", 0}, {"count", 4}});
  const std::uint64_t first = bench.asks(ask, 10);
  bench.asks(ask, 600);
  bench.comes(bench.answer_to(ask, 2), 620);
  bench.end();
  REQUIRE(bench.exchanges.size() == 1);
  const AssembledExchange& each = bench.of(first);
  CHECK(outcomes(each) == std::vector{Outcome::lost, Outcome::answered});
  CHECK(each.outcome == Outcome::answered);
  CHECK(each.round_trip == 21 * millisecond);
  CHECK_FALSE(each.ambiguous);
}

TEST_CASE("what was answered and is asked again is another exchange", "[assembly]") {
  for (const bool with_numbers : {true, false}) {
    SeatBench bench(with_numbers ? buses::bench_frame() : buses::modbus_rtu(), Options{});
    const Frame ask = with_numbers ? bench.ask_of(1, "nameplate", 7)
                                   : bench.ask_of(1, "read_holding", 0, {{"first", 0}, {"count", 2}});
    const std::uint64_t first = bench.asks(ask, 10);
    bench.comes(bench.answer_to(ask, 1), 20);
    const std::uint64_t again = bench.asks(ask, 30);
    bench.comes(bench.answer_to(ask, 1), 45);
    bench.end();
    REQUIRE(bench.exchanges.size() == 2);
    CHECK(bench.of(first).round_trip == 11 * millisecond);
    CHECK(bench.of(again).round_trip == 16 * millisecond);
    CHECK(bench.of(again).since_last == 9 * millisecond);
    CHECK(bench.assembler.ambiguous() == 0);
  }
}

TEST_CASE("without numbers the same ask is a retry within the time-out that was stated, and a new one beyond",
          "[assembly]") {
  Options options;
  options.time_out = 100 * millisecond;
  SeatBench bench(buses::modbus_rtu(), options);
  const Frame ask = bench.ask_of(1, "read_holding", 0, {{"first", 0}, {"count", 2}});
  const std::uint64_t first = bench.asks(ask, 0);
  bench.asks(ask, 101);  // as soon as the time-out is over
  const std::uint64_t later = bench.asks(ask, 900);
  bench.end();
  REQUIRE(bench.exchanges.size() == 2);
  CHECK(bench.of(first).tries.size() == 2);
  CHECK(bench.of(first).outcome == Outcome::lost);
  CHECK(bench.of(first).decided == 202 * millisecond);  // the second try's end and the time-out
  CHECK(bench.of(later).tries.size() == 1);
  CHECK(bench.of(first).ambiguous);  // a plan that asks nothing else may have begun its next round
  CHECK_FALSE(bench.of(later).ambiguous);
}

TEST_CASE("without numbers and without a time-out the same ask is called a retry, and marked", "[assembly]") {
  SeatBench bench(buses::modbus_rtu(), Options{});
  const Frame ask = bench.ask_of(1, "read_holding", 0, {{"first", 0}, {"count", 2}});
  const std::uint64_t first = bench.asks(ask, 0);
  bench.asks(ask, 600);
  bench.asks(ask, 1200);
  bench.comes(bench.answer_to(ask, 1), 1220);
  bench.end();
  REQUIRE(bench.exchanges.size() == 1);
  CHECK(bench.of(first).tries.size() == 3);
  CHECK(bench.of(first).ambiguous);
  CHECK(bench.assembler.ambiguous() == 1);  // exchanges, not asks
}

TEST_CASE("a controller that asks several things and asks one of them twice in a row tries again", "[assembly]") {
  for (const bool stated : {true, false}) {
    Options options;
    if (stated) options.time_out = 100 * millisecond;
    SeatBench bench(buses::modbus_rtu(), options);
    const Frame one = bench.ask_of(1, "read_holding", 0, {{"first", 0}, {"count", 2}});
    const Frame other = bench.ask_of(2, "read_holding", 0, {{"first", 0}, {"count", 2}});
    bench.asks(one, 0);
    bench.comes(bench.answer_to(one, 1), 10);
    const std::uint64_t twice = bench.asks(other, 20);
    bench.asks(other, 420);  // after a back-off much longer than the time-out
    bench.comes(bench.answer_to(other, 2), 430);
    bench.end();
    REQUIRE(bench.exchanges.size() == 2);
    CHECK(outcomes(bench.of(twice)) == std::vector{Outcome::lost, Outcome::answered});
    CHECK_FALSE(bench.of(twice).ambiguous);
  }
}

TEST_CASE("an answer later than any so far may be that to either of two tries", "[assembly]") {
  SeatBench bench(buses::bench_frame(), Options{});
  const Frame shows = bench.ask_of(1, "nameplate", 1);
  bench.asks(shows, 0);
  bench.comes(bench.answer_to(shows, 1), 10);  // so long it takes
  const Frame ask = bench.ask_of(1, "nameplate", 2);
  const std::uint64_t soon = bench.asks(ask, 100);
  bench.asks(ask, 300);
  bench.comes(bench.answer_to(ask, 1), 310);
  const Frame again = bench.ask_of(1, "nameplate", 3);
  const std::uint64_t long_after = bench.asks(again, 1000);
  bench.asks(again, 1200);
  bench.comes(bench.answer_to(again, 1), 1320);  // longer after both of them
  bench.end();
  CHECK_FALSE(bench.of(soon).tries.back().ambiguous);
  CHECK(bench.of(long_after).tries.back().ambiguous);
}

TEST_CASE("a retry after an answer that came too late is of the same exchange", "[assembly]") {
  Options options;
  options.time_out = 100 * millisecond;
  SeatBench bench(buses::bench_frame(), options);
  const Frame ask = bench.ask_of(1, "nameplate", 1);
  const std::uint64_t first = bench.asks(ask, 0);
  bench.comes(bench.answer_to(ask, 1), 150);
  bench.asks(ask, 200);
  bench.comes(bench.answer_to(ask, 1), 210);
  bench.end();
  REQUIRE(bench.exchanges.size() == 1);
  CHECK(outcomes(bench.of(first)) == std::vector{Outcome::late, Outcome::answered});
  CHECK(bench.of(first).outcome == Outcome::answered);
}

TEST_CASE("without numbers another ask ends the wait, and what still comes for the first is late", "[assembly]") {
  SeatBench bench(buses::modbus_rtu(), Options{});
  const Frame one = bench.ask_of(1, "read_holding", 0, {{"first", 0}, {"count", 2}});
  const Frame other = bench.ask_of(2, "read_holding", 0, {{"first", 0}, {"count", 2}});
  const std::uint64_t first = bench.asks(one, 0);
  const std::uint64_t next = bench.asks(other, 500);
  bench.comes(bench.answer_to(one, 1), 510);
  bench.comes(bench.answer_to(other, 2), 520);
  bench.end();
  CHECK(bench.of(first).outcome == Outcome::late);
  CHECK(bench.of(first).decided == 500 * millisecond);
  CHECK(bench.of(first).round_trip == -1);
  CHECK(bench.of(next).outcome == Outcome::answered);
  CHECK(bench.assembler.ambiguous() == 0);
}

TEST_CASE("an answer that fits the ask before as well goes to the one that waits, and both are marked", "[assembly]") {
  SeatBench bench(buses::modbus_rtu(), Options{});
  const Frame one = bench.ask_of(1, "read_holding", 0, {{"first", 0}, {"count", 2}});
  const Frame other = bench.ask_of(1, "read_holding", 0, {{"first", 2}, {"count", 2}});
  const std::uint64_t first = bench.asks(one, 0);
  const std::uint64_t next = bench.asks(other, 500);
  bench.comes(bench.answer_to(one, 1), 510);  // it says nothing of where it begins
  bench.end();
  CHECK(bench.of(first).outcome == Outcome::lost);
  CHECK(bench.of(first).ambiguous);  // perhaps it was its own, and late
  CHECK(bench.of(next).outcome == Outcome::answered);
  CHECK(bench.of(next).ambiguous);
  CHECK(bench.assembler.ambiguous() == 2);
}

TEST_CASE("an answer beyond the time-out that was stated is late", "[assembly]") {
  Options options;
  options.time_out = 100 * millisecond;
  SeatBench bench(buses::bench_frame(), options);
  const Frame ask = bench.ask_of(1, "nameplate", 1);
  const Frame in_time = bench.ask_of(1, "nameplate", 2);
  const std::uint64_t late = bench.asks(ask, 0);  // until 1; may be heard until 101
  bench.comes(bench.answer_to(ask, 1), 101);      // until 102
  const std::uint64_t just = bench.asks(in_time, 200);
  bench.comes(bench.answer_to(in_time, 1), 300);  // until 301: on the deadline
  bench.end();
  CHECK(bench.of(late).outcome == Outcome::late);
  CHECK(bench.of(just).outcome == Outcome::answered);
}

TEST_CASE("of two tries an answer is for the one that it can have come from", "[assembly]") {
  Options options;
  options.time_out = 100 * millisecond;
  SeatBench bench(buses::bench_frame(), options);
  const Frame ask = bench.ask_of(1, "nameplate", 1);
  bench.asks(ask, 0);
  bench.comes(bench.answer_to(ask, 1), 21);  // this node takes 20 ms
  const Frame again = bench.ask_of(1, "nameplate", 2);
  const std::uint64_t twice = bench.asks(again, 200);
  bench.asks(again, 301);
  bench.comes(bench.answer_to(again, 1), 310);  // 8 ms after the second ask
  const Frame third = bench.ask_of(1, "nameplate", 3);
  const std::uint64_t thrice = bench.asks(third, 500);
  bench.asks(third, 601);
  bench.comes(bench.answer_to(third, 1), 630);
  bench.end();
  CHECK(outcomes(bench.of(twice)) == std::vector{Outcome::late, Outcome::answered});  // it waited again, and took it
  CHECK(bench.of(twice).outcome == Outcome::answered);
  CHECK(outcomes(bench.of(thrice)) == std::vector{Outcome::lost, Outcome::answered});
}

TEST_CASE("a second answer is for the try that has none yet", "[assembly]") {
  Options options;
  options.time_out = 100 * millisecond;
  options.told_when_over = true;
  SeatBench bench(buses::bench_frame(), options);
  const Frame ask = bench.ask_of(1, "nameplate", 1);
  const std::uint64_t first = bench.asks(ask, 0);
  const std::uint64_t again = bench.asks(ask, 101);
  const std::uint64_t one = bench.comes(bench.answer_to(ask, 1), 150);
  const std::uint64_t other = bench.comes(bench.answer_to(ask, 1), 160);
  bench.assembler.over(first, 170 * millisecond);
  CHECK(bench.exchanges.empty());
  bench.assembler.over(again, 171 * millisecond);
  REQUIRE(bench.exchanges.size() == 1);
  const AssembledExchange& each = bench.of(first);
  CHECK(each.tries[1].answered == one);
  CHECK(each.tries[0].answered == other);
  CHECK(outcomes(each) == std::vector{Outcome::late, Outcome::answered});
  CHECK(each.outcome == Outcome::answered);
  CHECK(bench.strays.empty());
}

TEST_CASE("an ask that only comes round was taken by nobody", "[assembly]") {
  SeatBench bench = numbered();
  const Frame ask = bench.ask_of(9, "nameplate", 1);  // no node has that address
  const std::uint64_t asked = bench.asks(ask, 0);
  bench.comes(ask, 20);
  bench.end();
  const AssembledExchange& each = bench.of(asked);
  CHECK(each.node == nobody);
  CHECK_FALSE(each.everyone);
  CHECK(each.outcome == Outcome::lost);
  CHECK(each.tries.front().came_round);
  CHECK(each.round_trip == -1);
  CHECK(bench.strays.empty());  // it belongs to the exchange
}

TEST_CASE("an ask of everyone is done when it has come round", "[assembly]") {
  SeatBench bench = numbered();
  const Frame ask = bench.ask_of(255, "bleed", 1, {{"bleed_mask", 1}});
  const std::uint64_t asked = bench.asks(ask, 0);
  bench.comes(ask, 20);
  const std::uint64_t unheard = bench.asks(bench.ask_of(255, "bleed", 2, {{"bleed_mask", 1}}), 1000);
  bench.end();
  CHECK(bench.of(asked).everyone);
  CHECK(bench.of(asked).outcome == Outcome::answered);
  CHECK(bench.of(asked).round_trip == 21 * millisecond);
  CHECK(bench.of(unheard).outcome == Outcome::lost);
}

TEST_CASE("on a line an ask of everyone is done when the last node has it", "[assembly]") {
  Options options;
  options.shape = Shape::line;
  options.told_when_over = true;
  SeatBench bench(buses::bench_frame(), options);
  const Frame ask = bench.ask_of(255, "bleed", 1, {{"bleed_mask", 1}});
  const std::uint64_t reached = bench.asks(ask, 0);
  bench.assembler.everyone_has(reached, 5 * millisecond);
  bench.assembler.over(reached, 6 * millisecond);
  const std::uint64_t missed = bench.asks(bench.ask_of(255, "bleed", 2, {{"bleed_mask", 1}}), 100);
  bench.assembler.over(missed, 106 * millisecond);
  bench.end();
  CHECK(bench.of(reached).outcome == Outcome::answered);
  CHECK(bench.of(reached).decided == 5 * millisecond);
  CHECK(bench.of(missed).outcome == Outcome::lost);
}

TEST_CASE("frames of nobody are strays", "[assembly]") {
  SeatBench bench = numbered();
  const Frame never_asked = bench.ask_of(1, "nameplate", 500);
  const std::uint64_t answer = bench.comes(bench.answer_to(never_asked, 1), 5);
  const std::uint64_t ask = bench.comes(never_asked, 10);
  const std::uint64_t damage = bench.comes_damaged(15);
  const Frame asked = bench.ask_of(1, "nameplate", 1);
  const std::uint64_t exchange = bench.asks(asked, 20);
  const std::uint64_t other_number = bench.comes(bench.answer_to(never_asked, 1), 30);
  bench.comes(bench.answer_to(asked, 1), 40);
  const std::uint64_t second_time = bench.comes(bench.answer_to(asked, 1), 41);
  bench.end();
  std::vector<std::uint64_t> strays;
  for (const auto& each : bench.strays) strays.push_back(each.mark);
  CHECK(strays == std::vector{answer, ask, damage, other_number, second_time});
  REQUIRE(bench.exchanges.size() == 1);
  CHECK(bench.of(exchange).outcome == Outcome::answered);
}

TEST_CASE("what the controller sends badly is its own doing, with its bytes, and disturbs no other exchange",
          "[assembly]") {
  for (const bool with_numbers : {true, false}) {
    for (const Symptom symptom :
         {Symptom::check, Symptom::too_short, Symptom::too_long, Symptom::framing, Symptom::parity, Symptom::overrun}) {
      SeatBench bench(with_numbers ? buses::bench_frame() : buses::modbus_rtu(), Options{});
      const Frame ask = with_numbers ? bench.ask_of(1, "nameplate", 7)
                                     : bench.ask_of(1, "read_holding", 0, {{"first", 0}, {"count", 2}});
      const std::uint64_t good = bench.asks(ask, 0);
      const std::uint64_t bad = bench.asks_badly(symptom, {0xDE, 0xAD}, 5);
      bench.comes(bench.answer_to(ask, 1), 20);
      bench.end();
      REQUIRE(bench.exchanges.size() == 2);
      CHECK(bench.of(bad).outcome == Outcome::bad_ask);
      CHECK(outcomes(bench.of(bad)) == std::vector{Outcome::bad_ask});
      CHECK(bytes_of(bench.of(bad).asked) == std::vector<std::uint8_t>{0xDE, 0xAD});
      CHECK(bench.of(bad).node == nobody);
      CHECK(bench.of(bad).rows.empty());
      CHECK(bench.of(good).outcome == Outcome::answered);
      CHECK(bench.assembler.ambiguous() == 0);
    }
  }
}

TEST_CASE("damage that comes home is for the ask that waits; with several it is marked", "[assembly]") {
  SeatBench alone = numbered();
  const std::uint64_t only = alone.asks(alone.ask_of(1, "nameplate", 1), 0);
  alone.comes_damaged(10);
  alone.end();
  CHECK(alone.of(only).outcome == Outcome::garbled);
  CHECK(bytes_of(alone.of(only).answered) == std::vector<std::uint8_t>{1, 2, 3});
  CHECK_FALSE(alone.of(only).ambiguous);

  SeatBench several = numbered();
  const std::uint64_t older = several.asks(several.ask_of(1, "nameplate", 1), 0);
  const std::uint64_t newer = several.asks(several.ask_of(2, "nameplate", 2), 2);
  several.comes_damaged(10);
  several.end();
  CHECK(several.of(newer).outcome == Outcome::garbled);
  CHECK(several.of(newer).ambiguous);
  CHECK(several.of(older).outcome == Outcome::lost);
  CHECK(several.assembler.ambiguous() == 1);
}

TEST_CASE("a good answer after a damaged one is the answer", "[assembly]") {
  SeatBench bench = numbered();
  const Frame ask = bench.ask_of(1, "nameplate", 1);
  const std::uint64_t asked = bench.asks(ask, 0);
  bench.comes_damaged(10);
  bench.comes(bench.answer_to(ask, 1), 12);
  bench.end();
  CHECK(bench.of(asked).outcome == Outcome::answered);
}

TEST_CASE("an answer with the number of an ask of something else is mismatched", "[assembly]") {
  SeatBench bench = numbered();
  const Frame ask = bench.ask_of(1, "nameplate", 1);
  const std::uint64_t topic = bench.asks(ask, 0);
  bench.comes(bench.answer_to(bench.ask_of(1, "conditions", 1), 1), 10);
  bench.end();
  CHECK(bench.of(topic).outcome == Outcome::mismatched);
  CHECK(bench.strays.empty());
}

TEST_CASE("a refusal and an answer without all that was asked for are told apart from an answer", "[assembly]") {
  SeatBench bench = numbered();
  const Frame refused = bench.ask_of(1, "readings", 1, {{"first", 0}, {"count", 4}});
  const std::uint64_t one = bench.asks(refused, 0);
  bench.comes(bench.refusal_of(refused, 1), 10);
  const Frame wants_four = bench.ask_of(1, "readings", 2, {{"first", 0}, {"count", 4}});
  const std::uint64_t two = bench.asks(wants_four, 100);
  bench.comes(bench.answer_to(bench.ask_of(1, "readings", 2, {{"first", 0}, {"count", 3}}), 1), 110);
  bench.end();
  CHECK(bench.of(one).outcome == Outcome::refused);
  CHECK(bench.of(two).outcome == Outcome::truncated);
}

TEST_CASE("frames on each hop are rows of the exchange and try that they belong to", "[assembly]") {
  Options options;
  options.heard_everywhere = true;
  SeatBench bench(buses::bench_frame(), options);
  const Frame ask = bench.ask_of(2, "nameplate", 1);
  const Frame answer = bench.answer_to(ask, 2);
  const std::uint64_t asked = bench.asks(ask, 0);
  const std::uint64_t first_ask = bench.heard(0, ask, 1);
  const std::uint64_t damage = bench.heard_damaged(1, 3);
  bench.asks(ask, 500);
  const std::uint64_t again[] = {bench.heard(0, ask, 501), bench.heard(1, ask, 503), bench.heard(2, answer, 510),
                                 bench.comes(answer, 512)};
  bench.end();
  const AssembledExchange& each = bench.of(asked);
  REQUIRE(each.rows.size() == 6);
  const std::vector<std::pair<std::uint64_t, int>> expected{{first_ask, 0}, {damage, 0},   {again[0], 1},
                                                            {again[1], 1},  {again[2], 1}, {again[3], 1}};
  for (std::size_t i = 0; i < expected.size(); ++i) {
    CHECK(each.rows[i].mark == expected[i].first);
    CHECK(int{each.rows[i].row.attempt} == expected[i].second);
    CHECK(each.rows[i].row.answering == (i >= 4));
  }
  CHECK(each.rows[1].row.symptom == Symptom::check);
  CHECK(outcomes(each) == std::vector{Outcome::lost, Outcome::answered});
}

TEST_CASE("damage on the way home belongs to an answer once the ask has come to its node, and to nobody before",
          "[assembly]") {
  for (const bool ask_came : {true, false}) {
    Options options;
    options.shape = Shape::line;
    options.heard_everywhere = true;
    SeatBench bench(buses::bench_frame(), options);
    const Frame ask = bench.ask_of(2, "nameplate", 1);
    const std::uint64_t asked = bench.asks(ask, 0);
    bench.heard(0, ask, 1);
    if (ask_came) bench.heard(1, ask, 3);
    // Links 0 to 2 lead outward, 3 to 5 homeward; the second node answers on 4.
    const std::uint64_t damage = bench.heard_damaged(4, 5);
    bench.end();
    const AssembledExchange& each = bench.of(asked);
    REQUIRE(each.rows.size() == (ask_came ? 3 : 1));
    if (!ask_came) continue;
    CHECK(each.rows[2].mark == damage);
    CHECK(each.rows[2].row.answering);
    CHECK(each.rows[2].row.symptom == Symptom::check);
  }
}

TEST_CASE("an answer on a hop is not one of a try whose ask was heard damaged", "[assembly]") {
  Options options;
  options.heard_everywhere = true;
  SeatBench bench(buses::bench_frame(), options);
  const Frame ask = bench.ask_of(1, "nameplate", 1);
  const std::uint64_t asked = bench.asks(ask, 0);
  bench.heard(0, ask, 1);  // the first try comes to its node, the second is damaged
  bench.asks(ask, 500);
  bench.heard_damaged(0, 501);
  bench.heard(1, bench.answer_to(ask, 1), 510);
  bench.end();
  const AssembledExchange& each = bench.of(asked);
  REQUIRE(each.rows.size() == 3);
  CHECK(each.rows[2].row.answering);
  CHECK(int{each.rows[2].row.attempt} == 0);
}

TEST_CASE("whatever is asked is told once, however much is open at a time", "[assembly]") {
  SeatBench bench = numbered();
  std::vector<std::uint64_t> asked;
  for (std::uint64_t i = 0; i < 3000; ++i) asked.push_back(bench.asks(bench.ask_of(1, "nameplate", i), 0));
  CHECK(bench.exchanges.size() >= 1900);  // no more than about a thousand wait
  bench.end();
  REQUIRE(bench.exchanges.size() == 3000);
  for (std::uint64_t i = 0; i < 3000; ++i) REQUIRE(bench.exchanges[i].tries.front().asked == asked[i]);
  CHECK(bench.assembler.wants_wake() == never);
}

TEST_CASE("what a controller says of its exchange counts more than what it looks like", "[assembly]") {
  const auto told = [](Decision decision, bool answer_came) {
    SeatBench bench = numbered();
    const Frame ask = bench.ask_of(1, "nameplate", 7);
    const std::uint64_t first = bench.asks(ask, 10);
    bench.assembler.expect_decisions();
    if (answer_came) bench.comes(bench.answer_to(ask, 1), 20);
    bench.assembler.decided(decision, 30 * millisecond);
    bench.end();
    REQUIRE(bench.exchanges.size() == 1);
    CHECK(bench.of(first).decided == (answer_came && decision == Decision::answered ? 21 : 30) * millisecond);
    return bench.of(first).outcome;
  };
  CHECK(told(Decision::answered, true) == Outcome::answered);
  CHECK(told(Decision::timed_out, true) == Outcome::late);
  CHECK(told(Decision::rejected, true) == Outcome::mismatched);
  CHECK(told(Decision::timed_out, false) == Outcome::lost);
  CHECK(told(Decision::rejected, false) == Outcome::lost);
}

TEST_CASE("what was given up is late when it comes, though no time-out is stated", "[assembly]") {
  SeatBench bench = numbered();
  const Frame ask = bench.ask_of(1, "nameplate", 7);
  const std::uint64_t first = bench.asks(ask, 10);
  bench.assembler.decided(Decision::timed_out, 30 * millisecond);
  bench.comes(bench.answer_to(ask, 1), 40);
  bench.end();
  CHECK(bench.of(first).outcome == Outcome::late);
  CHECK(bench.of(first).decided == 30 * millisecond);
}

TEST_CASE("an ask after a word that it is another try is one, whatever its number", "[assembly]") {
  SeatBench bench = numbered();
  const std::uint64_t first = bench.asks(bench.ask_of(1, "nameplate", 7), 10);
  bench.assembler.decided(Decision::retried, 600 * millisecond);
  const Frame again = bench.ask_of(1, "nameplate", 8);
  bench.asks(again, 600);
  bench.asks(again, 1200);  // the same once more needs no word
  bench.comes(bench.answer_to(again, 1), 1220);
  bench.assembler.decided(Decision::answered, 1230 * millisecond);
  bench.end();
  REQUIRE(bench.exchanges.size() == 1);
  CHECK(outcomes(bench.of(first)) == std::vector{Outcome::lost, Outcome::lost, Outcome::answered});
}

TEST_CASE("without numbers the next round of a plan of one entry is told from a retry by what is said", "[assembly]") {
  for (const bool retries : {true, false}) {
    SeatBench bench(buses::modbus_rtu(), SeatBench::Options{});
    const Frame ask = bench.ask_of(1, "read_holding", 0, {{"first", 0}, {"count", 2}});
    bench.asks(ask, 10);
    bench.assembler.decided(retries ? Decision::retried : Decision::timed_out, 510 * millisecond);
    bench.asks(ask, 520);
    bench.comes(bench.answer_to(ask, 1), 530);
    bench.assembler.decided(Decision::answered, 540 * millisecond);
    bench.end();
    CHECK(bench.exchanges.size() == (retries ? 1U : 2U));
    // As two, the first may have had that answer too.
    for (const AssembledExchange& each : bench.exchanges) CHECK(each.ambiguous == !retries);
  }
}

TEST_CASE("what a controller took though it fits nothing is its answer", "[assembly]") {
  SeatBench bench = numbered();
  const std::uint64_t first = bench.asks(bench.ask_of(1, "nameplate", 7), 10);
  const Frame other = bench.ask_of(1, "nameplate", 6);
  const std::uint64_t came = bench.comes(bench.answer_to(other, 1), 20);
  bench.assembler.decided(Decision::answered, 30 * millisecond);
  bench.end();
  CHECK(bench.of(first).outcome == Outcome::answered);
  CHECK(bench.of(first).tries.front().answered == came);
}

}  // namespace hopbench
