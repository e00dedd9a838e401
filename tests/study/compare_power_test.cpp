// What a comparison says of what it could have shown, and of copies.
#include "study/compare_power.h"

#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <functional>

#include "base/luck.h"
#include "judge/clusters.h"
#include "made_tallies.h"
#include "study/compare.h"
#include "support/catch.h"

using namespace hopbench;
using study_tests::Made;

namespace {

/// `failures` of each of two nodes, by cycle.
Made cycles(std::size_t number, const std::function<double(std::size_t)>& failures) {
  Made made(0);
  made.tallies.cycles_begun = static_cast<std::uint32_t>(number);
  made.tallies.until = static_cast<Nanos>(number) * 86'400 * second;
  for (std::size_t i = 0; i < number; ++i) made.cycle(failures(i), failures(i + 1));
  return made;
}

Comparison compared(const Made& before, const Made& after, const CompareOptions& options = {}) {
  return compare(before.tallies, after.tallies, options);
}

bool says(const Comparison& comparison, const std::string& what) {
  const auto in = [&](const std::string& text) { return text.find(what) != std::string::npos; };
  return in(comparison.sentence) || std::any_of(comparison.cautions.begin(), comparison.cautions.end(), in);
}

double rare(std::size_t i) { return static_cast<double>(1 + i % 3); }  // 2 of 1,000
double rarer(std::size_t i) { return i % 4 == 0 ? 0 : static_cast<double>(1 + i % 2); }

}  // namespace

TEST_CASE("numbers that are the same are one test, and no word is lost on what cannot differ", "[power]") {
  const Made before = cycles(10, rare);
  const Made after = cycles(10, rarer);
  const auto comparison = compared(before, after);
  // Every exchange is one try, one topic is all that is asked, and the same number of cells always balances.
  CHECK(comparison.tests == 1);
  CHECK(comparison.tries.adjusted == comparison.tries.p);
  CHECK(comparison.exchanges.same_as_tries);
  CHECK(comparison.exchanges.adjusted == comparison.tries.p);
  REQUIRE(comparison.topics.size() == 1);
  CHECK(comparison.topics[0].same_as_tries);
  CHECK(comparison.topics[0].adjusted == comparison.tries.p);
  CHECK_FALSE(comparison.nodes[0].same_as_tries);
  CHECK(comparison.balancing.empty());
  CHECK_FALSE(says(comparison, "balanc"));

  // An exchange that was tried twice makes them two; another number of cells balancing makes them three.
  Made retried = after;
  retried.tallies.cycles[3].tries.trials += 1;
  retried.tallies.all.tries.trials += 1;
  CHECK(compared(before, retried).tests == 2);
  CHECK_FALSE(compared(before, retried).exchanges.same_as_tries);
  retried.cycle(1, 1, 5);
  CHECK(compared(before, retried).tests == 3);
  CHECK_FALSE(compared(before, retried).balancing.empty());
}

TEST_CASE("a chain on which nothing balances is not told of balancing, whatever comes of it", "[power]") {
  for (const bool told : {false, true}) {
    for (const double failures : {0.0, 2.0, 3.0, 20.0}) {
      Made before(0);
      Made after(0);
      before.tallies.cycles_begun = after.tallies.cycles_begun = 10;
      before.tallies.as_told = after.tallies.as_told = told;
      for (std::size_t i = 0; i < 10; ++i) {
        before.cycle(3, static_cast<double>(i % 3), 0);
        after.cycle(failures, static_cast<double>(i % 2), 0);
      }
      CHECK_FALSE(says(compared(before, after), "balanc"));
    }
  }
}

TEST_CASE("what is as frequent as before is never called worse", "[power]") {
  const Luck luck(11);
  const auto stream = luck.stream(name_hash("compare_power_test"), Purpose::test, 1);
  for (std::uint64_t number = 0; number < 200; ++number) {
    Made before(0);
    Made after(0);
    before.tallies.cycles_begun = after.tallies.cycles_begun = 8;
    std::vector<double> failures;
    for (std::uint64_t i = 0; i < 8; ++i) failures.push_back(static_cast<double>(below(30, draw(stream, number, i))));
    for (std::size_t i = 0; i < 8; ++i) {
      before.cycle(failures[i], failures[(i + 1) % 8]);
      after.cycle(failures[(i + 3) % 8], failures[7 - i]);  // in another order
    }
    const auto comparison = compared(before, after);
    CAPTURE(number, comparison.sentence);
    CHECK(comparison.verdict != Verdict::worse);
    CHECK(comparison.verdict != Verdict::better);
  }
}

TEST_CASE("no difference is not said where a fall or a rise that matters may hide", "[power]") {
  // About 2 of 1,000 before and after, ten cycles of 2,000 tries: limits of some 0.1 points either way.
  const Made made = cycles(10, rare);
  const auto at = [&](double factor) { return compared(made, made, {0, factor}); };
  const auto comparison = at(2);
  const double before = comparison.tries.before.share();
  CHECK(comparison.rise_that_matters == Approx(before));
  CHECK(comparison.fall_that_matters == Approx(before / 2));
  for (const double factor : {1.05, 1.2, 1.5, 2.0, 3.0, 10.0}) {
    const auto here = at(factor);
    const auto& limits = here.tries.difference;
    const bool hides = limits.high >= before * (factor - 1) || limits.low <= before / factor - before;
    CAPTURE(factor, here.sentence);
    CHECK((here.verdict == Verdict::cannot_say) == hides);
    CHECK(says(here, " may hide in it") == hides);
    CHECK(says(here, "a rise to") == (limits.high >= before * (factor - 1)));
  }
  CHECK(at(1.05).verdict == Verdict::cannot_say);
  CHECK(at(10).verdict == Verdict::no_difference);
  // A fall alone may hide where a rise does not matter by so little.
  const auto only_falls = compared(made, made, {0.01, 1.2});
  CHECK(only_falls.verdict == Verdict::cannot_say);
  CHECK(fall_may_hide(only_falls));
  CHECK_FALSE(rise_may_hide(only_falls));
  // Nothing can fall below nothing.
  const Made none(10);
  CHECK(compared(none, none).verdict == Verdict::no_difference);
  CHECK_FALSE(says(compared(none, none), "fall"));
}

TEST_CASE("with clusters too few for any p that is small enough, no change would have been seen", "[power]") {
  // Four against four can be dealt in 70 ways, so p is 2/70 at least: enough for one test at 5 %, not for two.
  const Made one = cycles(4, rare);
  Made blocks = one;
  blocks.tallies.cycles_begun = 0;
  blocks.tallies.blocks = blocks.tallies.cycles;
  blocks.tallies.block_span = blocks.tallies.until / 4;
  CHECK(compared(blocks, blocks).tries.smallest_rise);
  Made retried = blocks;
  retried.tallies.blocks[1].tries.trials += 1;
  retried.tallies.all.tries.trials += 1;
  const auto comparison = compared(retried, retried);
  CHECK(comparison.tests == 2);
  CHECK_FALSE(comparison.tries.smallest_rise);
  CHECK_FALSE(comparison.tries.smallest_fall);
  CHECK(comparison.verdict == Verdict::cannot_say);
  CHECK(says(comparison, "no change, however large"));
}

TEST_CASE("so many more cycles do show what was seen, and two in five of them do not", "[power]") {
  // The same bunches over and over: what was seen stays what it is.
  const auto repeated = [](std::size_t number, std::vector<double> bunches) {
    return cycles(number, [bunches](std::size_t i) { return bunches[i % bunches.size()]; });
  };
  const auto before = [&](std::size_t number) { return repeated(number, {9, 0, 7, 0, 0, 8}); };
  const auto after = [&](std::size_t number) { return repeated(number, {5, 0, 6, 0, 0, 4}); };
  const auto few = compared(before(6), after(6), {0, 1.3});
  REQUIRE(few.verdict == Verdict::cannot_say);
  REQUIRE(few.to_show);
  CAPTURE(few.sentence, few.to_show->before, few.to_show->after);
  const auto enough = compared(before(6 + few.to_show->before), after(6 + few.to_show->after));
  CHECK(enough.verdict == Verdict::better);
  // Power of 80 % means that what is seen lies 1.96 + 0.84 deviations from nothing; with 2 in 5 of the trials it
  // is 1.77.
  const auto fewer = 6 * ((6 + few.to_show->after) * 2 / 5 / 6);
  CHECK(compared(before(fewer), after(fewer), {0, 1.3}).verdict == Verdict::cannot_say);

  CHECK_FALSE(few.to_rule_out);  // what was seen matters already
  const auto same = compared(before(6), before(6), {0, 1.3});
  REQUIRE(same.to_rule_out);
  CHECK_FALSE(same.to_show);
  const auto more = (6 + same.to_rule_out->before + 5) / 6 * 6;  // whole rounds of the bunches
  CHECK(compared(before(more), before(more), {0, 1.3}).verdict == Verdict::no_difference);
  const auto less = more * 3 / 4 / 6 * 6;
  CHECK(compared(before(less), before(less), {0, 1.3}).verdict == Verdict::cannot_say);
}

TEST_CASE("a change of the smallest size that would have been seen is seen about as often as stated", "[power]") {
  // Cycles that hold failures by the binomial law, each of two nodes by itself. The change is that which
  // forty pairs tell of on average; then sides are drawn anew with it.
  const Luck luck(12);
  const auto stream = luck.stream(name_hash("compare_power_test"), Purpose::test, 2);
  std::uint64_t ordinal = 0;
  const auto side = [&](double share) {
    const boost::math::binomial_distribution<double> law(study_tests::tries, share);
    return cycles(10, [&](std::size_t) {
      const double u = (static_cast<double>(draw(stream, 0, ordinal++) >> 11U) + 0.5) / 9007199254740992.0;
      double k = 0;
      while (boost::math::cdf(law, k) < u) ++k;
      return k;
    });
  };
  constexpr double share = 0.006;
  constexpr int pairs = 40;
  double rise = 0;
  double fall = 0;
  for (int i = 0; i < pairs; ++i) {
    const auto alike = compared(side(share), side(share));
    REQUIRE(alike.tries.smallest_rise);
    REQUIRE(alike.tries.smallest_fall);
    rise += *alike.tries.smallest_rise / pairs;
    fall += *alike.tries.smallest_fall / pairs;
  }
  for (const double change : {rise, -fall}) {
    int seen = 0;
    for (int i = 0; i < 200; ++i) seen += compared(side(share), side(share + change)).tries.changed() ? 1 : 0;
    CAPTURE(change, seen);
    // 160 of 200, with a deviation of 5.7: the normal approximation, and how cautious clusters are counted, add a
    // little.
    CHECK(seen > 145);
    CHECK(seen < 190);
  }
}
