#include "soak/verdict.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <iostream>
#include <vector>

#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

Stretches of(const std::vector<SoakCount>& each, Nanos cycle, SoakCount& so_far) {
  Stretches stretches(1, 0, cycle);
  for (const auto& one : each) {
    so_far.hits += one.hits;
    so_far.trials += one.trials;
    so_far.runs += one.runs;
    stretches.pass_border(std::array{so_far});
  }
  return stretches;
}

RequirementState decided(Ruling decision) {
  RequirementState state;
  state.decided.decision = decision;
  return state;
}

}  // namespace

TEST_CASE("grounds: failures that are spread count each for itself") {
  SoakCount so_far;
  const auto stretches = of(std::vector<SoakCount>(100, {1, 1000, 1}), 0, so_far);
  const auto grounds = grounds_of(stretches, 0, so_far, 1, 1);
  CHECK_FALSE(grounds.bunched);
  CHECK(grounds.worth == 1);
  CHECK(grounds.hits() == 100);
  CHECK(grounds.trials() == 100'000);
}

TEST_CASE("grounds: failures in few bursts count as so many bursts at most") {
  SoakCount so_far;
  // Every minute one burst of ten.
  const auto stretches = of(std::vector<SoakCount>(100, {10, 1000, 1}), 0, so_far);
  const auto grounds = grounds_of(stretches, 0, so_far, 1, 1);
  CHECK(grounds.bunched);
  CHECK(grounds.few_runs < 1e-100);
  // Ten together on average, by hand: each is worth 1 / (2 * 10 - 1), and less as far as ten may be too few.
  CHECK(grounds.together > 10);
  CHECK(grounds.together < 12);
  CHECK(grounds.hits() < 1000.0 / 19);
  CHECK(grounds.hits() > 1000.0 / 23);
}

TEST_CASE("grounds: failures of one hour in ten count for less, though no two of them were neighbours") {
  SoakCount so_far;
  std::vector<SoakCount> each(480, SoakCount{0, 1000, 0});
  for (std::size_t i = 0; i < 48; ++i) each[100 + i] = {20, 1000, 20};
  const auto grounds = grounds_of(of(each, 0, so_far), 0, so_far, 1, 1);
  CHECK(grounds.few_runs > 0.5);
  CHECK(grounds.bunched);
  CHECK(grounds.usable());
  // All lie in one stretch of an hour or two: they are worth little more than one observation.
  CHECK(grounds.hits() < 8);
}

TEST_CASE("grounds: what bunches are worth is not known of a few minutes") {
  SoakCount so_far;
  const auto grounds = grounds_of(of({{10, 1000, 1}, {0, 1000, 0}, {10, 1000, 1}}, 0, so_far), 0, so_far, 1, 1);
  CHECK(grounds.bunched);
  CHECK_FALSE(grounds.usable());
}

TEST_CASE("grounds: of a chain with cycles only whole ones count") {
  SoakCount so_far;
  auto stretches = of({{10, 1000, 1}, {12, 1000, 1}, {11, 1000, 1}, {9, 1000, 1}}, 86'400 * second, so_far);
  const SoakCount whole = so_far;
  so_far.hits += 500;
  so_far.trials += 600;
  const auto grounds = grounds_of(stretches, 0, so_far, 1, 1);
  CHECK(grounds.counted == whole);
  CHECK(grounds.bunched);
  // Cycles hardly differ; a burst each is what there is, and four bursts tell little of how long they are.
  CHECK(grounds.hits() < 42 / (2 * 10.5 - 1));
  CHECK(grounds.hits() > 0.5);
}

TEST_CASE("grounds: a failure that does not end is rejected, whatever a burst is worth") {
  const SharePlan plan{0.003, 0.0035, 0.05, 0.05};
  SoakCount so_far;
  std::vector<SoakCount> each(200, SoakCount{0, 60, 0});
  for (std::size_t i = 0; i < 100; ++i) each[100 + i] = {60, 60, i == 0 ? 1U : 0U};
  const auto stretches = of(each, 0, so_far);
  const auto dead = grounds_of(stretches, 0, so_far, 10, plan.rejectable);
  CHECK(dead.lasting == 100);
  // One burst: worth next to nothing.
  CHECK(dead.trials() < 10);
  CHECK(lasts(stretches, dead, plan));
  // 0.857^n times 200 stretches is above 5 % up to n = 53 (by hand: ln(4000) / ln(7/6) = 53.8).
  SoakCount shorter;
  each.resize(153);
  const auto not_yet = of(each, 0, shorter);
  CHECK_FALSE(
      lasts(not_yet, grounds_of(not_yet, 0, shorter, 10, plan.rejectable), {0.003, 0.0035, 0.05 * 153 / 200, 0.05}));
  // It has come back.
  SoakCount healed;
  auto again = each;
  again.push_back({0, 60, 0});
  const auto well = of(again, 0, healed);
  CHECK_FALSE(lasts(well, grounds_of(well, 0, healed, 10, plan.rejectable), plan));
}

TEST_CASE("the verdict: one rejected rejects, all accepted accept") {
  const auto yes = decided(Ruling::accepted);
  const auto no = decided(Ruling::rejected);
  const auto open = decided(Ruling::undecided);
  CHECK(verdict_of(std::array{yes, yes}) == Ruling::accepted);
  CHECK(verdict_of(std::array{yes, open}) == Ruling::undecided);
  CHECK(verdict_of(std::array{open, no}) == Ruling::rejected);
  CHECK(verdict_of(std::array{no, yes}) == Ruling::rejected);
  CHECK(verdict_of({}) == Ruling::undecided);
}

namespace {

struct Rates {
  int accepted = 0;
  int rejected = 0;
  int undecided = 0;
};

/// Soaks of an exchange every ten seconds over 70 days; failures come in bursts of `burst` exchanges on average, and
/// make up `share` of all: good and bad times of random length, one after the other.
Rates soaks(const SharePlan& plan, double share, double burst, int number, std::uint32_t bunch) {
  constexpr std::uint64_t in_a_minute = 6;
  constexpr std::uint64_t minutes = 100'000;
  const SequentialShare test(plan);
  Rates rates;
  for (int soak = 0; soak < number; ++soak) {
    Dice dice("soak", static_cast<std::uint64_t>(soak));
    // Exchanges until something with chance p happens, at least one.
    const auto until = [&](double p) {
      const double u = (static_cast<double>(dice.up_to(999'999'999)) + 0.5) / 1e9;
      return p >= 1 ? std::uint64_t{1} : 1 + static_cast<std::uint64_t>(std::log(u) / std::log1p(-p));
    };
    const double begins = share / (1 - share) / burst;
    Stretches stretches(1, 0, 0);
    SoakCount so_far;
    bool failing = false;
    std::uint64_t left = until(begins);
    Ruling decision = Ruling::undecided;
    for (std::uint64_t minute = 1; minute <= minutes && decision == Ruling::undecided; ++minute) {
      for (std::uint64_t now = 0; now < in_a_minute;) {
        const std::uint64_t step = std::min(left, in_a_minute - now);
        now += step;
        left -= step;
        so_far.trials += step;
        if (failing) so_far.hits += step;
        if (left > 0) continue;
        failing = !failing;
        if (failing) ++so_far.runs;
        left = until(failing ? 1 / burst : begins);
      }
      if (static_cast<Nanos>(minute) * 60 * second != stretches.next_border()) continue;
      const SoakCount whole_runs{so_far.hits, so_far.trials, std::min(so_far.runs, so_far.hits)};
      stretches.pass_border(std::array{whole_runs});
      const auto grounds = grounds_of(stretches, 0, whole_runs, bunch, plan.rejectable);
      if (lasts(stretches, grounds, plan)) {
        decision = Ruling::rejected;
      } else if (grounds.usable()) {
        decision = test.decide(grounds.hits(), grounds.trials());
      }
    }
    ++(decision == Ruling::accepted ? rates.accepted : decision == Ruling::rejected ? rates.rejected : rates.undecided);
  }
  return rates;
}

}  // namespace

// The table in docs/soak.md.
TEST_CASE("what becomes of a thousand soaks each", "[.][risks]") {
  const SharePlan plan{0.01, 0.05, 0.05, 0.05};
  const auto percent = [](int count) { return static_cast<double>(count) / 10; };
  for (const double burst : {1.0, 2.0, 5.0, 10.0, 20.0, 50.0}) {
    std::cout << "| " << burst << " | " << percent(soaks(plan, 0.01, burst, 1000, 10).rejected) << " % | "
              << percent(soaks(plan, 0.05, burst, 1000, 10).accepted) << " % | "
              << percent(soaks(plan, 0.05, burst, 1000, 1).accepted) << " % |" << std::endl;
  }
}

// A few of them, so that it does not take long.
TEST_CASE("risks are kept where failures come in bursts, and would not be without looking") {
  const SharePlan plan{0.01, 0.05, 0.05, 0.05};
  constexpr int number = 200;
  for (const double burst : {1.0, 3.0, 5.0}) {
    CAPTURE(burst);
    const auto good = soaks(plan, 0.01, burst, number, 10);
    const auto bad = soaks(plan, 0.05, burst, number, 10);
    CHECK(good.rejected <= number / 20);
    CHECK(bad.accepted <= number / 10);
    CHECK(good.accepted > number * 9 / 10);
    CHECK(bad.rejected > number * 8 / 10);
  }
  // Taken as independent, chains that are as bad as that pass more often than not.
  CHECK(soaks(plan, 0.05, 5, number, 1).accepted > number / 3);
}

}  // namespace hopbench
