#include "measure/unseen.h"

#include "measure/value_run.h"
#include "support/catch.h"

using namespace hopbench;
using namespace hopbench::sample;

namespace {

/// n1 has cells 0..3, of which one entry tells 0..2 and another 2..3; n2 has cell 0, n3 none that is asked for.
RunInfo three_nodes() {
  RunInfo info = ring(3);
  info.entries = {{"a", "n1", "readings", 0, 3}, {"b", "n1", "readings", 2, 2}, {"c", "n2", "readings", 0, 1},
                  {"d", "n3", "limits", 0, 0},   {"e", "", "readings", 0, 9},   {"f", "nobody", "readings", 0, 9}};
  return info;
}

/// Answered by an answer that ends at `end`, or not answered.
OwnedExchange answer(const RunInfo& info, std::uint32_t entry, Nanos end, Outcome outcome = Outcome::answered) {
  auto exchange = clean_exchange(info, 0, end - 100 * millisecond);
  exchange.fixed.entry = entry;
  exchange.fixed.outcome = outcome;
  exchange.fixed.round_trip = outcome == Outcome::answered ? 100 * millisecond : -1;
  exchange.fixed.decided = exchange.fixed.closed = end;
  return exchange;
}

}  // namespace

TEST_CASE("cells that are always told together are one group, and cells nobody asks for are in none") {
  std::vector<GroupSpan> of_entry;
  const auto groups = cell_groups(three_nodes(), of_entry);
  REQUIRE(groups.size() == 4);
  CHECK((groups[0].node == 0 && groups[0].first_cell == 0 && groups[0].cells == 2));
  CHECK((groups[1].node == 0 && groups[1].first_cell == 2 && groups[1].cells == 1));
  CHECK((groups[2].node == 0 && groups[2].first_cell == 3 && groups[2].cells == 1));
  CHECK((groups[3].node == 1 && groups[3].first_cell == 0 && groups[3].cells == 1));
  REQUIRE(of_entry.size() == 6);
  CHECK((of_entry[0].begin == 0 && of_entry[0].end == 2));
  CHECK((of_entry[1].begin == 1 && of_entry[1].end == 3));
  CHECK((of_entry[2].begin == 3 && of_entry[2].end == 4));
  for (std::size_t i = 3; i < 6; ++i) CHECK(of_entry[i].begin == of_entry[i].end);
}

TEST_CASE("an answer without all the values that were asked for leaves its cells unseen") {
  for (const Outcome outcome :
       {Outcome::truncated, Outcome::refused, Outcome::garbled, Outcome::late, Outcome::bad_ask}) {
    Run run;
    run.info = three_nodes();
    run.events.emplace_back(answer(run.info, 0, 5 * second));
    run.events.emplace_back(answer(run.info, 0, 9 * second, outcome));
    run.events.emplace_back(answer(run.info, 2, 10 * second, outcome));
    run.events.emplace_back(answer(run.info, 0, 20 * second));
    run.until = 30 * second;
    const Measures m = part(run, 0, run.events.size());
    REQUIRE(m.cells.size() == 4);
    CHECK(m.longest_unseen(m.cells[0]).span == 15 * second);
    CHECK(m.longest_unseen(m.cells[0]).from == 5 * second);
    CHECK_FALSE(m.cells[3].ever_seen);
  }
}

TEST_CASE("the longest time unseen is from the run's start, between answers, or to its end") {
  // Worked by hand. The run is from 1 s (an arrival) to 30 s. Seen: n1 cells 0-1 at 5, 9, 20 s; cell 2 at 5, 9, 12,
  // 20 s; cell 3 at 12 s; n2 never, for its exchange is lost.
  Run run;
  run.info = three_nodes();
  run.events.emplace_back(OwnedArrival{{second, true, {}, {}}, {1}, {}});
  run.events.emplace_back(answer(run.info, 0, 5 * second));
  run.events.emplace_back(answer(run.info, 0, 9 * second));
  run.events.emplace_back(answer(run.info, 2, 10 * second, Outcome::lost));
  run.events.emplace_back(answer(run.info, 1, 12 * second));
  run.events.emplace_back(answer(run.info, 0, 20 * second));
  run.until = 30 * second;
  const auto whole = part(run, 0, run.events.size());
  const auto check = [](const Measures& m) {
    REQUIRE(m.cells.size() == 4);
    const auto longest = [&](std::size_t i) { return m.longest_unseen(m.cells[i]); };
    CHECK(longest(0).span == 11 * second);
    CHECK(longest(0).from == 9 * second);
    CHECK(longest(1).span == 10 * second);  // to the end
    CHECK(longest(1).from == 20 * second);
    CHECK(longest(2).span == 18 * second);
    CHECK(longest(2).from == 12 * second);
    CHECK(longest(3).span == 29 * second);
    CHECK(longest(3).from == second);
  };
  check(whole);
  // The parts of the run, joined anywhere, tell the same.
  for (std::size_t cut = 0; cut <= run.events.size(); ++cut) {
    check(joined(part(run, 0, cut), part(run, cut, run.events.size())));
  }
  // Another run has its own ends, and nothing goes on across.
  const auto two = merged(whole, whole);
  check(two);
  auto run_later = run;
  run_later.until = 60 * second;
  const auto three = merged(two, part(run_later, 0, run_later.events.size()));
  CHECK(three.longest_unseen(three.cells[2]).span == 48 * second);
  CHECK(three.longest_unseen(three.cells[2]).run == 2);
}

TEST_CASE("what a capture says was left out is no time unseen, and a cut begins where it begins") {
  // Worked by hand: a cut from 100 s, cell 0 of n2 seen at 101 and 103 s, records left out from 104 to 150 s, seen
  // again at 152 s, and the end at 153 s: the longest time is from 150 to 152 s, or from 101 to 103 s, which comes
  // first.
  Run run;
  run.info = three_nodes();
  MeasureFold fold;
  fold.begin(run.info);
  fold.dropped({0, 100 * second, 0, "cut"});
  const auto tell = [&](const OwnedExchange& exchange) { exchange.tell(fold); };
  tell(answer(run.info, 2, 101 * second));
  tell(answer(run.info, 2, 103 * second));
  fold.dropped({104 * second, 150 * second, 7, "the disk was slower than the chain"});
  tell(answer(run.info, 2, 152 * second));
  fold.end(153 * second, {});
  const Measures& m = fold.measures();
  CHECK(m.from == 100 * second);
  CHECK(m.until == 153 * second);
  const auto longest = m.longest_unseen(m.cells.at(3));
  CHECK(longest.span == 2 * second);
  CHECK(longest.from == 101 * second);
  CHECK(fold.coverage().dropped == 7);
  CHECK(fold.coverage().holes == 1);
  CHECK(fold.coverage().hole_time == 46 * second);
}

TEST_CASE("a cell is seen when the answer ends: start of the answered try and its round trip") {
  const auto info = three_nodes();
  auto exchange = answer(info, 0, 5 * second);
  exchange.attempts = {{second, second, Outcome::lost}, {3 * second, 3 * second, Outcome::answered}};
  exchange.fixed.round_trip = 250 * millisecond;
  ExchangeObs obs = exchange.fixed;
  obs.attempts = exchange.attempts;
  CHECK(answer_end(obs) == 3'250 * millisecond);
  obs.round_trip = -1;
  CHECK(answer_end(obs) == 5 * second);
  obs.round_trip = 1;
  obs.attempts = {};
  CHECK(answer_end(obs) == 5 * second);
}
