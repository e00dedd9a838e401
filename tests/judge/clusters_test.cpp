#include "judge/clusters.h"

#include <cmath>
#include <vector>

#include "judge/holm.h"
#include "judge/strata.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

std::vector<Counted> of_hundred(const std::vector<double>& hits) {
  std::vector<Counted> clusters;
  for (const double each : hits) clusters.push_back({each, 100});
  return clusters;
}

Permuted permuted_means(const std::vector<double>& first, const std::vector<double>& second) {
  std::vector<double> all = first;
  all.insert(all.end(), second.begin(), second.end());
  const auto apart = [&](Split split) {
    double sums[2] = {0, 0};
    double counts[2] = {0, 0};
    for (std::size_t i = 0; i < all.size(); ++i) {
      sums[split[i]] += all[i];
      counts[split[i]] += 1;
    }
    return std::abs(sums[1] / counts[1] - sums[0] / counts[0]);
  };
  return permuted(first.size(), second.size(), apart, Luck(1).stream(name_hash("clusters_test"), Purpose::test, 0));
}

}  // namespace

TEST_CASE("the smallest p is that of groups that lie wholly apart") {
  std::vector<double> low;
  for (std::size_t first = 1; first <= 6; ++first) {
    low.push_back(static_cast<double>(first));
    std::vector<double> high;
    for (std::size_t second = 1; second <= 6; ++second) {
      high.push_back(100 + 3 * static_cast<double>(second));
      CAPTURE(first, second);
      CHECK(least_p(first, second) == Approx(permuted_means(low, high).p).epsilon(1e-12));
    }
  }
  CHECK(least_p(4, 4) == Approx(2.0 / 70));  // 8! / (4! 4!) ways
  CHECK(least_p(0, 4) == 1);
}

TEST_CASE("clusters of one size are compared as Welch's t test compares them") {
  // t.test(a / 100, b / 100) of R 4.2.2, computed for this test.
  const auto a = of_hundred({3, 0, 2, 5, 1, 4});
  CHECK(welch_by_cluster(a, of_hundred({9, 7, 12, 6, 10, 8, 11})) == Approx(0.000117182408328).epsilon(1e-9));
  CHECK(welch_by_cluster(a, of_hundred({2, 7, 3, 6, 1})) == Approx(0.379114224214).epsilon(1e-9));
  CHECK(welch_by_cluster(a, of_hundred({2})) == 1);
  CHECK(welch_by_cluster(of_hundred({0, 0}), of_hundred({0, 0, 0})) == 1);
}

TEST_CASE("all splits of a few clusters are counted") {
  // Counted with combn() of R 4.2.2 for this test.
  const auto close = permuted_means({3, 0, 2, 5, 1, 4}, {2, 7, 3, 6, 1});
  CHECK(close.all);
  CHECK(close.splits == 462);
  CHECK(close.p == Approx(166.0 / 462));
  const auto far = permuted_means({3, 0, 2, 5, 1, 4}, {9, 7, 12, 6, 10, 8, 11});
  CHECK(far.splits == 1716);
  CHECK(far.p == Approx(2.0 / 1716));
}

TEST_CASE("random splits of many clusters come near the share of all splits, and never to nothing") {
  std::vector<double> first;
  std::vector<double> second;
  for (int i = 0; i < 20; ++i) {
    first.push_back((i * 7) % 10);
    second.push_back((i * 7) % 10 + 1);
  }
  const auto some = permuted_means(first, second);
  CHECK_FALSE(some.all);
  CHECK(some.splits == 10'000);
  // A difference of means of 1 with a standard deviation of 2.95: 1.07 standard errors, 0.29 by the normal law.
  CHECK(some.p == Approx(0.29).margin(0.03));
  for (auto& each : second) each += 100;
  CHECK(permuted_means(first, second).p == Approx(1e-4));
  CHECK(permuted_means(first, {}).p == 1);
}

TEST_CASE("trials that fail in bunches are worth fewer") {
  // Ten clusters of 100 trials, all of whose failures lie in one: Var = sum e^2 m/(m-1) / n^2 with e = 90 and nine
  // times -10: 9000 * (10/9) / 10^6 = 0.01, against 0.1 * 0.9 / 1000 = 0.00009: worth 9 trials by the
  // normal law, and 9 (1.960 / 2.262)^2 = 6.76 with Student's t of 9 degrees (tables). By hand.
  const auto bunched = of_hundred({100, 0, 0, 0, 0, 0, 0, 0, 0, 0});
  CHECK(effective_trials(bunched) == Approx(6.756).epsilon(1e-3));
  CHECK(effective_trials(of_hundred({10, 10, 10, 10})) == 400);
  CHECK(effective_trials(of_hundred({0, 0, 0})) == 300);
  CHECK(effective_trials(of_hundred({5})) == 0);
}

TEST_CASE("Holm's p values are R's") {
  // p.adjust(c(0.01, 0.04, 0.03, 0.005, 0.5), "holm") of R 4.2.2, computed for this test.
  const std::vector<double> p{0.01, 0.04, 0.03, 0.005, 0.5};
  const std::vector<double> expected{0.040, 0.090, 0.090, 0.025, 0.500};
  const auto adjusted = holm(p);
  REQUIRE(adjusted.size() == expected.size());
  for (std::size_t i = 0; i < p.size(); ++i) CHECK(adjusted[i] == Approx(expected[i]));
}

TEST_CASE("shares at equal strata are what Mantel and Haenszel make of them") {
  // The admissions data of P. J. Bickel, E. A. Hammel, J. W. O'Connell, Science 187 (1975) 398-404, as in R's
  // UCBAdmissions; mantelhaen.test(UCBAdmissions, correct = FALSE) of R 4.2.2: odds ratio of the first to the
  // second 0.9046968283 (computed for this test).
  const std::vector<Stratum> departments{
      {{512, 825}, {89, 108}},  {{353, 560}, {17, 25}}, {{120, 325}, {202, 593}},
      {{138, 417}, {131, 375}}, {{53, 191}, {94, 393}}, {{22, 373}, {24, 341}},
  };
  const auto common = common_difference(departments);
  CHECK(1 / common.odds_ratio == Approx(0.9046968283).epsilon(1e-8));
  // One stratum: the plain difference.
  const std::vector<Stratum> one{{{1, 10}, {3, 10}}, {{5, 7}, {0, 0}}};
  CHECK(common_difference(one).difference == Approx(0.2));
  CHECK(common_difference({}).odds_ratio == 1);
}
