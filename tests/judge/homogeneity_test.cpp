#include "judge/homogeneity.h"

#include <cmath>
#include <vector>

#include "support/catch.h"

using namespace hopbench;

namespace {

StreamKey luck(std::uint64_t number = 0) {
  return Luck(1).stream(name_hash("homogeneity_test"), Purpose::test, number);
}

double p_of(const std::vector<Counted>& clusters) { return homogeneity(clusters, luck()); }

}  // namespace

TEST_CASE("homogeneity: many hits go by Pearson's chi-square") {
  // By hand: 20 % in all, (10^2 + 0 + 10^2) / (100 * 0.2 * 0.8) = 12.5 with 2 degrees of freedom, p = exp(-12.5 / 2).
  CHECK(p_of({{10, 100}, {20, 100}, {30, 100}}) == Approx(std::exp(-6.25)).epsilon(1e-9));
}

TEST_CASE("homogeneity: few hits go by the deals that there are") {
  // Three hits among three clusters that are large and alike: all in one cluster in 3 of 27 deals.
  CHECK(p_of({{3, 1e6}, {0, 1e6}, {0, 1e6}}) == Approx(3.0 / 27).margin(0.01));
  // Two in one, one in another is as far as 21 of 27 deals; one in each as far as all.
  CHECK(p_of({{2, 1e6}, {1, 1e6}, {0, 1e6}}) == Approx(21.0 / 27).margin(0.02));
  CHECK(p_of({{1, 1e6}, {1, 1e6}, {1, 1e6}}) == 1);
  // No two hits on one trial: of the 15 pairs among six trials 3 lie in one cluster of two. (With replacement: 1/3.)
  CHECK(p_of({{2, 2}, {0, 2}, {0, 2}}) == Approx(3.0 / 15).margin(0.02));
  // The same of misses.
  CHECK(p_of({{0, 2}, {2, 2}, {2, 2}}) == Approx(3.0 / 15).margin(0.02));
  // Of four hits a cluster three times as large as the other expects three. (1, 3) is off by 4/3 + 4; as far is
  // (0, 4) only.
  const double q = 0.25;
  CHECK(p_of({{1, 3e6}, {3, 1e6}}) == Approx(std::pow(q, 4) + 4 * std::pow(q, 3) * (1 - q)).margin(0.01));
  // Nine of nine in one of thirteen.
  std::vector<Counted> one_bad(13, Counted{0, 1e5});
  one_bad[4].hits = 9;
  CHECK(p_of(one_bad) < 0.001);
}

TEST_CASE("homogeneity: nothing to tell") {
  CHECK(p_of({}) == 1);
  CHECK(p_of({{5, 10}}) == 1);
  CHECK(p_of({{0, 10}, {0, 10}}) == 1);
  CHECK(p_of({{1, 10}, {0, 10}}) == 1);
  CHECK(p_of({{10, 10}, {10, 10}}) == 1);
  CHECK(p_of({{5, 10}, {0, 0}}) == 1);
}

TEST_CASE("homogeneity: clusters that are alike are found different no more often than the level says") {
  int found = 0;
  constexpr int all = 400;
  for (std::uint64_t i = 0; i < all; ++i) {
    std::vector<Counted> clusters(6, Counted{0, 1000});
    for (std::uint64_t hit = 0; hit < 7; ++hit) ++clusters[below(6, draw(luck(100 + i), hit, 0))].hits;
    found += homogeneity(clusters, luck(i)) < 0.05 ? 1 : 0;
  }
  // At most 5 % of 400, and three standard deviations; an exact test of so few hits stays below its level.
  CHECK(found <= 33);
  CHECK(found > 0);
}
