#include "study/compare.h"

#include <functional>
#include <set>

#include "base/luck.h"
#include "made_tallies.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

using study_tests::Made;

Made of(std::size_t cycles, const std::function<double(std::size_t)>& failures, std::size_t balancing = 3) {
  Made made(0);
  made.tallies.cycles_begun = static_cast<std::uint32_t>(cycles);
  for (std::size_t i = 0; i < cycles; ++i) made.cycle(failures(i), failures(i + 1), balancing);
  return made;
}

double some(std::size_t i) { return static_cast<double>(10 + i % 3); }
double none(std::size_t) { return 0; }
double many(std::size_t i) { return static_cast<double>(30 + i % 5); }
/// As many as `many` in all, but nearly all in one cycle.
double bunched(std::size_t i) { return i == 4 ? 200 : 10 + static_cast<double>(i % 2); }

Verdict verdict(const Made& before, const Made& after) { return compare(before.tallies, after.tallies, {}).verdict; }

}  // namespace

TEST_CASE("better, worse and no difference are told apart") {
  CHECK(verdict(of(10, some), of(10, none)) == Verdict::better);
  CHECK(verdict(of(10, many), of(12, some)) == Verdict::better);
  CHECK(verdict(of(10, some), of(10, many)) == Verdict::worse);
  CHECK(verdict(of(10, none), of(10, some)) == Verdict::worse);
  CHECK(verdict(of(10, some), of(10, some)) == Verdict::no_difference);
}

TEST_CASE("failures that all came in one charge cycle are one piece of evidence") {
  const auto comparison = compare(of(10, some).tallies, of(10, bunched).tallies, {});
  CHECK(comparison.tries.fisher < 1e-6);  // as if tries were independent it would be sure
  CHECK(comparison.tries.adjusted > 0.05);
  CHECK(comparison.verdict == Verdict::cannot_say);
  const auto naive = difference_of(comparison.tries.before, comparison.tries.after);
  CHECK(comparison.tries.difference.high - comparison.tries.difference.low > 4 * (naive.high - naive.low));
}

TEST_CASE("one place that became worse is worse, whatever the whole does") {
  auto before = Made(0);
  auto after = Made(0);
  before.tallies.cycles_begun = after.tallies.cycles_begun = 10;
  for (int i = 0; i < 10; ++i) {
    before.cycle(40 + i % 3, 1);
    after.cycle(2, 20 + i % 3);
  }
  const auto comparison = compare(before.tallies, after.tallies, {});
  CHECK(comparison.tries.changed());
  CHECK_FALSE(comparison.tries.rose());
  CHECK(comparison.verdict == Verdict::worse);
  CHECK(comparison.sentence.find("hop 2 (a -> b)") != std::string::npos);
  CHECK(comparison.sentence.find("Better as a whole") != std::string::npos);
}

TEST_CASE("fewer cells balancing is told from fewer failures with as many") {
  // The same rate at each number of cells balancing; before more of the time at the one with more failures.
  const auto mixed = [](int busy) {
    auto made = Made(0);
    made.tallies.cycles_begun = 12;
    for (int i = 0; i < 12; ++i) made.cycle(i < busy ? 40 : 1, i < busy ? 40 : 1, i < busy ? 8 : 1);
    return made;
  };
  const auto comparison = compare(mixed(11).tallies, mixed(2).tallies, {});
  CHECK(comparison.tries.changed());
  CHECK(comparison.common.difference == 0);
  CHECK(comparison.verdict == Verdict::better);
  CHECK(comparison.sentence.find("because fewer cells balanced") != std::string::npos);
}

TEST_CASE("what cannot be compared is said so, and why") {
  const auto said = [](const Made& before, const Made& after) { return compare(before.tallies, after.tallies, {}); };
  CHECK(verdict(of(10, some, 1), of(10, some, 9)) == Verdict::not_comparable);
  auto real = of(10, some);
  real.tallies.run.simulated = real.tallies.run.truth_known = false;
  for (auto& link : real.tallies.run.links) link.vantage = Vantage::tapped;
  CHECK(said(of(10, some), real).sentence ==
        "Not comparable: not the same was real (before: simulated; after: real chain).");
  auto controller = of(10, some);
  controller.tallies.run.simulated = false;
  CHECK(said(controller, real).sentence ==
        "Not comparable: not the same was real (before: simulated chain, real controller; after: real chain).");
  auto others = of(10, some);
  others.tallies.run.nodes = {"c", "d"};
  CHECK(said(of(10, some), others).sentence == "Not comparable (simulated): they have no node in common.");
  CHECK(verdict(Made(0), of(10, some)) == Verdict::not_comparable);
  // Three blocks of time are too few.
  auto few = of(3, some);
  few.tallies.cycles_begun = 0;
  few.tallies.blocks = few.tallies.cycles;
  few.tallies.until = 2 * second;
  CHECK(verdict(few, few) == Verdict::not_comparable);
}

TEST_CASE("a simulated chain is compared with itself under a real controller, and one line says so") {
  const std::string line = "The controller was real on one side only";
  const auto lines = [&](const Comparison& comparison) {
    return std::count_if(comparison.cautions.begin(), comparison.cautions.end(),
                         [&](const std::string& each) { return each.starts_with(line); });
  };
  auto controller = of(10, none);
  controller.tallies.run.simulated = false;
  const auto comparison = compare(of(10, some).tallies, controller.tallies, {});
  CHECK(comparison.verdict == Verdict::better);
  CHECK(comparison.sentence.starts_with(
      "Better (before: simulated; after: simulated chain, real controller): tries that failed fell"));
  CHECK(lines(comparison) == 1);
  CHECK(compare(controller.tallies, of(10, some).tallies, {}).verdict == Verdict::worse);
  CHECK(lines(compare(controller.tallies, controller.tallies, {})) == 0);
}

TEST_CASE("what a late port may have decided is in no count of a comparison, and is told") {
  const auto with = [](std::uint64_t doubtful) {
    TallyFold fold;
    RunInfo run;
    run.nodes = {"a"};
    run.links = {{1, "controller", "a"}, {2, "a", "controller"}};
    run.entries = {{"cells/a", "a", "readings", 0, 1}};
    fold.begin(run);
    const Attempt good{0, 0, Outcome::answered};
    const Attempt lost{0, 0, Outcome::lost};
    for (std::uint64_t i = 0; i < 2000 + doubtful; ++i) {
      ExchangeObs obs;
      obs.node = 0;
      obs.start = static_cast<Nanos>(i) * second;
      obs.doubtful = i >= 1000 && i < 1000 + doubtful;
      obs.outcome = obs.doubtful ? Outcome::lost : Outcome::answered;
      obs.round_trip = obs.doubtful ? -1 : 5 * millisecond;
      obs.attempts = {obs.doubtful ? &lost : &good, 1};
      fold.exchange(obs);
    }
    fold.end(static_cast<Nanos>(2000 + doubtful) * second);
    return fold.tallies();
  };
  const auto late = with(500);
  CHECK(late.doubtful == 500);
  CHECK(late.all.exchanges.trials == 2000);
  CHECK(late.all.tries.hits == 0);
  const auto comparison = compare(with(0), late, {});
  CHECK(comparison.verdict != Verdict::worse);
  CHECK(comparison.tries.difference.value == 0);
  CHECK(std::count(comparison.cautions.begin(), comparison.cautions.end(),
                   "500 exchanges are left out: the bench was so late at the port that this may have decided what came "
                   "of them.") == 1);
}

TEST_CASE("each verdict tells in its sentence what was real") {
  std::set<Verdict> met;
  for (const bool simulated : {true, false}) {
    const auto sentence_of = [&](Made before, Made after) {
      before.tallies.run.simulated = after.tallies.run.simulated = simulated;
      const auto comparison = compare(before.tallies, after.tallies, {});
      met.insert(comparison.verdict);
      return comparison.sentence;
    };
    const std::string real = simulated ? " (simulated)" : " (simulated chain, real controller)";
    CHECK(sentence_of(of(10, some), of(10, none)).starts_with("Better" + real + ": tries that failed fell"));
    CHECK(sentence_of(of(10, some), of(10, many)).starts_with("Worse" + real + ": tries that failed rose"));
    CHECK(sentence_of(of(10, some), of(10, some)).starts_with("No difference seen" + real + ": 219 of"));
    CHECK(sentence_of(of(10, some), of(10, bunched)).starts_with("Cannot say" + real + ": 219 of"));
    CHECK(sentence_of(of(10, some, 1), of(10, some, 9)).starts_with("Not comparable" + real + ": before and after"));
    CHECK(sentence_of(of(3, some), of(3, some)).starts_with("Not comparable" + real + ": "));
    auto good = Made(0);
    auto bad = Made(0);
    good.tallies.cycles_begun = bad.tallies.cycles_begun = 10;
    for (int i = 0; i < 10; ++i) {
      good.cycle(20 + i % 3, 1);
      bad.cycle(1, 20 + i % 3);
    }
    CHECK(sentence_of(good, bad).starts_with("Worse in places, no difference seen as a whole" + real + "."));
  }
  CHECK(met.size() == 5);
}

TEST_CASE("few data with nothing in them say nothing") {
  // 6 cycles of 4 tries: what is not there may still be a quarter of all tries.
  Made made(0);
  made.tallies.cycles_begun = 6;
  for (int i = 0; i < 6; ++i) {
    made.cycle(0, 0);
    auto& cycle = made.tallies.cycles.back();
    cycle.tries = cycle.exchanges = {0, 4};
    cycle.topics = {{0, 4}};
  }
  made.tallies.all.tries = made.tallies.all.exchanges = {0, 24};
  CHECK(verdict(made, made) == Verdict::cannot_say);
  CHECK(compare(made.tallies, made.tallies, {0.5}).verdict == Verdict::no_difference);
}

TEST_CASE("chains that are alike are called different no more often than stated") {
  // 400 pairs of eight cycles whose rates vary by a factor of ten from cycle to cycle, the same law on both sides. A
  // difference is claimed for tries (exchanges and the topic are the same numbers), two nodes and three hops; each of
  // these at 5 %. By independent trials nearly all would be called different.
  const Luck luck(7);
  const auto stream = luck.stream(name_hash("compare_test"), Purpose::test, 0);
  int whole = 0;
  int places = 0;
  int fooled = 0;
  for (std::uint64_t pair = 0; pair < 400; ++pair) {
    std::uint64_t ordinal = 0;
    const auto side = [&] {
      Made made(0);
      made.tallies.cycles_begun = 8;
      for (int i = 0; i < 8; ++i) {
        const double level = 2.0 + static_cast<double>(exponential(20'000'000, draw(stream, pair, ordinal++))) / 1e6;
        made.cycle(std::floor(std::min(level, 400.0)), std::floor(std::min(0.8 * level, 400.0)));
      }
      return made;
    };
    const auto before = side();
    const auto comparison = compare(before.tallies, side().tallies, {});
    whole += comparison.tries.changed() ? 1 : 0;
    places += std::any_of(comparison.hops.begin(), comparison.hops.end(), [](const auto& x) { return x.changed(); });
    fooled += comparison.tries.fisher < 0.05 ? 1 : 0;
  }
  CAPTURE(whole, places, fooled);
  CHECK(whole <= 32);  // 5 % of 400 are 20, with a standard deviation of 4.4
  CHECK(places <= 32);
  CHECK(fooled > 200);
}

TEST_CASE("clusters are joined in pairs, and nothing is lost") {
  TallyFold fold;
  RunInfo run;
  run.nodes = {"a"};
  run.links = {{1, "controller", "a"}, {2, "a", "controller"}};
  run.entries = {{"cells/a", "a", "readings", 0, 1}};
  fold.begin(run);
  const Attempt lost{0, 0, Outcome::lost};
  for (int i = 0; i < 5000; ++i) {
    State state;
    state.at = i * 10 * second;
    state.charge_ma = i % 2 == 0 ? 1000 : 0;
    state.cells_balancing = 4;
    fold.conditions(in_force(state, {}));
    ExchangeObs obs;
    obs.node = 0;
    obs.start = state.at;
    obs.outcome = i % 10 == 0 ? Outcome::lost : Outcome::answered;
    obs.round_trip = i % 10 == 0 ? -1 : 5 * millisecond;
    const Attempt good{0, 0, Outcome::answered};
    const std::array<Attempt, 2> both{lost, good};
    obs.attempts = i % 10 == 0 ? std::span(both).first(1) : std::span(both).last(1);
    fold.exchange(obs);
  }
  fold.end(50'000 * second);
  const auto& tallies = fold.tallies();
  CHECK(tallies.cycles_begun == 2500);
  for (const auto* clusters : {&tallies.cycles, &tallies.blocks}) {
    CHECK(clusters->size() <= TallyFold::most_clusters);
    CHECK(clusters->size() > TallyFold::most_clusters / 4);
    Cluster sum;
    sum.nodes.resize(1);
    for (const auto& each : *clusters) sum.add(each);
    CHECK(sum.tries.trials == 5000);
    CHECK(sum.tries.hits == 500);
    CHECK(sum.nodes[0].hits == 500);
    CHECK(sum.balancing[balancing_bin(4)].trials == 5000);
    CHECK(sum.round_trips.count() == 4500);
  }
}

TEST_CASE("equal numbers of cells balancing are no second look at the same thing") {
  // Both sides have each number as often; what fails where is drawn. Never a word of equal numbers then, and no test.
  const auto key = Luck(5).stream(name_hash("equal numbers"), Purpose::permutation, 0);
  for (std::uint64_t round = 0; round < 60; ++round) {
    std::uint64_t drawn = 0;
    const auto side = [&] {
      auto made = Made(0);
      made.tallies.cycles_begun = 12;
      const auto failures = [&] { return static_cast<double>(below(40, draw(key, round, drawn++))); };
      for (int i = 0; i < 12; ++i) {
        const double at_a = failures();
        made.cycle(at_a, failures(), i % 2 == 0 ? 1 : 8);
      }
      return made;
    };
    const auto before = side();
    const auto after = side();
    const auto comparison = compare(before.tallies, after.tallies, {});
    CAPTURE(round, comparison.sentence);
    CHECK(comparison.balancing.size() == 2);
    CHECK(comparison.equal_numbers);
    CHECK(comparison.sentence.find("equal numbers") == std::string::npos);
    CHECK(comparison.common_adjusted == comparison.tries.adjusted);
  }
}

TEST_CASE("each outcome has a row, and none of them decides the verdict") {
  const auto side = [](double lost, double late) {
    auto made = Made(0);
    made.tallies.cycles_begun = 10;
    for (int i = 0; i < 10; ++i) {
      made.cycle(lost + late + i % 3, 0);
      auto& cycle = made.tallies.cycles.back();
      for (auto& outcome : cycle.outcomes) outcome.trials = cycle.exchanges.trials;
      cycle.outcomes[static_cast<std::size_t>(Outcome::lost)].hits = lost + i % 3;
      cycle.outcomes[static_cast<std::size_t>(Outcome::late)].hits = late > 0 ? late + i % 2 : 0;
    }
    return made;
  };
  const auto comparison = compare(side(20, 0).tallies, side(2, 18).tallies, {});
  REQUIRE(comparison.outcomes.size() == 2);
  CHECK(comparison.outcomes[0].name == "late");
  CHECK(comparison.outcomes[0].rose());
  CHECK(comparison.outcomes[1].name == "lost");
  CHECK(comparison.outcomes[1].changed());
  CHECK_FALSE(comparison.outcomes[1].rose());
  CHECK(comparison.verdict == Verdict::no_difference);
}

TEST_CASE("two parts of one run are not called two runs with one seed") {
  auto first = of(10, some);
  auto second = of(10, some);
  first.tallies.run.seed = second.tallies.run.seed = 4;
  const auto says = [&](const std::string& what) {
    const auto cautions = compare(first.tallies, second.tallies, {}).cautions;
    return std::any_of(cautions.begin(), cautions.end(),
                       [&](const std::string& each) { return each.find(what) != std::string::npos; });
  };
  first.tallies.run_id = 7;
  second.tallies.run_id = 8;
  CHECK(says("the same seed"));
  second.tallies.run_id = 7;
  first.tallies.until = 10 * hopbench::second;
  second.tallies.from = 10 * hopbench::second;
  second.tallies.until = 20 * hopbench::second;
  CHECK_FALSE(says("the same seed"));
  CHECK(says("parts of one run"));
  second.tallies.from = 5 * hopbench::second;
  CHECK(says("some of the same time"));
}
