#include "measure/bursts.h"

#include <string>

#include "measure/measures.h"
#include "measure/value_run.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

/// One exchange a second: '+' answered, '-' not.
BurstMeasures of(const std::string& outcomes, Nanos start = 0) {
  BurstMeasures bursts;
  for (const char outcome : outcomes) {
    if (outcome == '+') {
      bursts.answered();
    } else {
      bursts.failed(start);
    }
    start += second;
  }
  return bursts;
}

}  // namespace

TEST_CASE("bursts are counted by length, those at the ends too") {
  // Worked by hand: bursts of 2 (at 0 s), 1 (at 3 s), 5 (at 6 s), 5 (at 12 s), 3 (at 18 s).
  const auto bursts = of("--+-++-----+-----+---");
  CHECK(bursts.count() == 5);
  const auto lengths = bursts.lengths();
  CHECK(lengths[0] == 1);  // 1
  CHECK(lengths[1] == 1);  // 2
  CHECK(lengths[2] == 1);  // 3-4
  CHECK(lengths[3] == 2);  // 5-8
  REQUIRE(bursts.longest_of_all());
  CHECK(bursts.longest_of_all()->length == 5);
  CHECK(bursts.longest_of_all()->from == 6 * second);  // the first of two
  CHECK_FALSE(of("+++").longest_of_all());
  CHECK(of("").count() == 0);
  CHECK(of("---").longest_of_all()->length == 3);
  CHECK(BurstMeasures::shortest_in(0) == 1);
  CHECK(BurstMeasures::longest_in(0) == 1);
  CHECK(BurstMeasures::shortest_in(3) == 5);
  CHECK(BurstMeasures::longest_in(3) == 8);
}

TEST_CASE("a burst across a border is one burst where parts are joined, two where runs are merged") {
  auto joined = of("+--");
  joined.append(of("---+-", 3 * second));
  CHECK(joined == of("+-----+-"));
  CHECK(joined.longest_of_all()->length == 5);
  CHECK(joined.longest_of_all()->from == second);
  auto merged = of("+--");
  merged.merge(of("---+-"), 1);
  CHECK(merged.count() == 3);
  CHECK(merged.longest_of_all()->length == 3);
  CHECK(merged.longest_of_all()->run == 1);
}

TEST_CASE("a burst that was under way is told whole when what came before is taken away") {
  auto rest = of("+---+--+");
  rest.minus(of("+--"));
  CHECK(rest.count() == 2);
  CHECK(rest.longest_of_all()->length == 3);
  CHECK(rest.longest_of_all()->from == second);
  // Nothing came after.
  auto nothing = of("+--+--");
  nothing.minus(of("+--+--"));
  CHECK(nothing.count() == 0);
  // The longest may be that of before: at most as long as its bucket.
  auto shorter = of("+-----+---+");
  shorter.minus(of("+-----+"));
  REQUIRE(shorter.longest_of_all());
  CHECK(shorter.longest_of_all()->length == 4);
  CHECK_FALSE(shorter.longest_of_all()->from_known);
}

TEST_CASE("bursts are told in all and by node") {
  auto run = sample::wild_run(1, 0);
  run.info = sample::ring(2);
  const auto exchange = [&](std::uint64_t number, Outcome outcome) {
    auto one = sample::clean_exchange(run.info, number, static_cast<Nanos>(number) * second);
    one.fixed.outcome = outcome;
    run.events.emplace_back(one);
  };
  // n1 n2 n1 n2 ...: n1 fails at 0 and 2 s, n2 at 1 s and 5 s.
  for (std::uint64_t i = 0; i < 6; ++i) exchange(i, i < 3 || i == 5 ? Outcome::lost : Outcome::answered);
  const auto m = sample::part(run, 0, run.events.size());
  CHECK(m.bursts.count() == 2);
  CHECK(m.bursts.longest_of_all()->length == 3);
  CHECK(m.node_bursts[0].longest_of_all()->length == 2);
  CHECK(m.node_bursts[0].longest_of_all()->from == 0);
  CHECK(m.node_bursts[1].count() == 2);
  CHECK(m.node_bursts[1].longest_of_all()->length == 1);
  CHECK(m.node_bursts[2].count() == 0);
}
