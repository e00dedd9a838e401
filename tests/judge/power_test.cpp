#include "judge/power.h"

#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <random>

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("the smallest rise is the one for which R reckons these trials") {
  // power.prop.test of R 4.2.2: p1 0.5, p2 0.75, power 0.9 needs n = 76.7 each (example in its help; with
  // tol = 1e-14: 76.70692845); n = 10000 each, p1 0.001, power 0.8 shows p2 = 0.002703193534 (tol = 1e-14, computed
  // for this test). From its help as well: n = 50 each and p1 = 0.5 show p2 = 0.8026 with power 0.9.
  CHECK(*smallest_rise(0.5, 76.70692845, 76.70692845, {0.05, 0.9}) == Approx(0.25).epsilon(1e-6));
  CHECK(*smallest_rise(0.001, 10000, 10000, {}) == Approx(0.001703193534).epsilon(1e-7));
  CHECK(*smallest_rise(0.5, 50, 50, {0.05, 0.9}) == Approx(0.3026).margin(5e-5));
  CHECK_FALSE(smallest_rise(0.9, 2, 2, {}));
  CHECK_FALSE(smallest_rise(0.5, 0, 10, {}));
}

TEST_CASE("the smallest fall is the smallest rise of what did not fail") {
  // The formula is the same for hits and misses, and for equal numbers the same in both directions.
  for (const double share : {0.001, 0.02, 0.3, 0.5}) {
    const auto fall = smallest_fall(share, 4000, 9000, {});
    const auto rise = smallest_rise(1 - share, 4000, 9000, {});
    REQUIRE(fall.has_value() == rise.has_value());
    if (fall) CHECK(*fall == Approx(*rise).epsilon(1e-9));
  }
  // R's help: n = 50 each, 0.9 against 0.5, power 0.9 at a level of 0.00131 (three digits, so the change is about 0.4).
  CHECK(*smallest_fall(0.9, 50, 50, {0.00131, 0.9}) == Approx(0.4).margin(1e-3));
  CHECK_FALSE(smallest_fall(0.001, 100, 100, {}));  // of a tenth of a failure none need be left
  CHECK_FALSE(smallest_fall(0, 100, 100, {}));
}

TEST_CASE("how many times as much is needed is how much more R would ask for") {
  // 76.70692845 of each, as above, from 20 of each.
  const double needed = 76.70692845 / 20;
  CHECK(*times_to_show({10, 20}, {15, 20}, {0.05, 0.9}) == Approx(needed).epsilon(1e-6));
  CHECK(*times_to_show({15, 20}, {10, 20}, {0.05, 0.9}) == Approx(needed).epsilon(1e-6));
  CHECK(*times_to_show({1000, 2000}, {1500, 2000}, {0.05, 0.9}) == Approx(needed / 100).epsilon(1e-6));
  CHECK_FALSE(times_to_show({10, 20}, {20, 40}, {}));
  CHECK_FALSE(times_to_show({0, 0}, {20, 40}, {}));
}

TEST_CASE("a change of the stated size is seen about as often as stated") {
  // By the exact binomial law (Boost), over all outcomes of both sides, against the test that the formula is about: the
  // pooled z test. It is an approximation, so within some points.
  const boost::math::normal_distribution<double> normal;
  struct Row {
    double share, trials_1, trials_2, level;
  };
  for (const Row& row : {Row{0.05, 400, 400, 0.05}, Row{0.2, 150, 300, 0.05}, Row{0.1, 500, 250, 0.025}}) {
    for (const double sign : {1.0, -1.0}) {
      const Power power{row.level, 0.8};
      const auto change = sign > 0 ? smallest_rise(row.share, row.trials_1, row.trials_2, power)
                                   : smallest_fall(row.share, row.trials_1, row.trials_2, power);
      REQUIRE(change);
      const boost::math::binomial_distribution<double> first(row.trials_1, row.share);
      const boost::math::binomial_distribution<double> second(row.trials_2, row.share + sign * *change);
      double seen = 0;
      for (double a = 0; a <= row.trials_1; ++a) {
        for (double b = 0; b <= row.trials_2; ++b) {
          const double pooled = (a + b) / (row.trials_1 + row.trials_2);
          const double deviation = std::sqrt(pooled * (1 - pooled) * (1 / row.trials_1 + 1 / row.trials_2));
          const double z = std::abs(b / row.trials_2 - a / row.trials_1) / deviation;
          if (z > boost::math::quantile(normal, 1 - row.level / 2)) {
            seen += boost::math::pdf(first, a) * boost::math::pdf(second, b);
          }
        }
      }
      CAPTURE(row.share, sign, *change);
      CHECK(seen == Approx(0.8).margin(0.03));
    }
  }
}

TEST_CASE("as many clusters are asked for as tables of the t test for one mean say") {
  // J. Cohen's effect sizes for one mean (or paired differences), two-sided at 5 %, power 80 %: d = 0.2, 0.5 and 0.8
  // take 199, 34 and 15 (as R's power.t.test with type = "one.sample" gives: 198.15, 33.37, 14.30; from memory).
  const auto of = [](double d) { return clusters_to_show(d * 10, 100, {0.05, 0.8}, 100'000); };  // t = d * sqrt(100)
  CHECK(of(0.2) == 199U);
  CHECK(of(0.5) == 34U);
  CHECK(of(-0.5) == 34U);
  CHECK(of(0.8) == 15U);
  CHECK_FALSE(of(0));
  CHECK_FALSE(clusters_to_show(0.1, 10, {0.05, 0.8}, 1000));  // it takes more than that
  CHECK_FALSE(clusters_to_show(3, 1, {}, 1000));
}

TEST_CASE("so many clusters do show it as often as was asked") {
  // 11 clusters that showed t = 2.2; scores from a normal law with that effect, tested as trend_of() tests them.
  const double effect = 2.2 / std::sqrt(11.0);
  const auto needed = clusters_to_show(2.2, 11, {0.01, 0.8}, 1000);
  REQUIRE(needed);
  std::mt19937 draw(11);
  std::normal_distribution<double> score(effect, 1);
  const boost::math::students_t_distribution<double> student(static_cast<double>(*needed) - 1);
  const double limit = boost::math::quantile(boost::math::complement(student, 0.005));
  int shown = 0;
  constexpr int rounds = 4000;
  for (int round = 0; round < rounds; ++round) {
    double sum = 0;
    double squares = 0;
    for (std::uint64_t i = 0; i < *needed; ++i) {
      const double one = score(draw);
      sum += one;
      squares += one * one;
    }
    const double n = static_cast<double>(*needed);
    const double deviation = std::sqrt((squares - sum * sum / n) / (n - 1));
    if (std::abs(sum / n) / (deviation / std::sqrt(n)) > limit) ++shown;
  }
  // Four standard errors of a share of 0.8 in 4000 are 2.5 points; a cluster less or more is some 2 points.
  CHECK(shown / double{rounds} > 0.775);
  CHECK(shown / double{rounds} < 0.85);
}
