// The share that failed at a point of a sweep, from several seeds.
#include "study/sweep_share.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "base/luck.h"
#include "support/catch.h"

namespace hopbench {
namespace {

std::vector<Counted> seeds_of(const std::vector<double>& hits, double trials) {
  std::vector<Counted> seeds;
  for (const double each : hits) seeds.push_back({each, trials});
  return seeds;
}

double uniform(StreamKey key, std::uint64_t index) {
  return (static_cast<double>(draw(key, index, 0) >> 11U) + 0.5) / 9007199254740992.0;
}

/// By inversion, one step after the other; for means below some hundreds.
double poisson(double mean, double u) {
  double term = std::exp(-mean);
  double sum = term;
  double k = 0;
  for (; u > sum && k < 10'000; sum += term) term *= mean / ++k;
  return k;
}

struct Covered {
  int pooled = 0;
  int told = 0;
};

/// Sweeps of `seeds` seeds with 1,000 exchanges each. A seed has its own share: `spread` 0 all the same, else
/// exponentially distributed about that mean.
Covered covered(std::size_t seeds, double share, bool spread, int sweeps) {
  Covered count;
  for (int i = 0; i < sweeps; ++i) {
    const auto key = Luck(7).stream(name_hash("sweep_share_test"), Purpose::test, static_cast<std::uint64_t>(i));
    std::vector<Counted> drawn;
    Counted all;
    for (std::uint64_t seed = 0; seed < seeds; ++seed) {
      const double own = spread ? -share * std::log(uniform(key, 2 * seed)) : share;
      const double hits = std::min(1000.0, poisson(1000 * own, uniform(key, 2 * seed + 1)));
      drawn.push_back({hits, 1000});
      all.hits += hits;
      all.trials += 1000;
    }
    const auto within = [&](const Share& told) { return told.low <= share && share <= told.high; };
    count.pooled += within(*effective_share(all.hits, all.trials)) ? 1 : 0;
    count.told += within(*sweep_share(drawn).share) ? 1 : 0;
  }
  return count;
}

}  // namespace

TEST_CASE("seeds that agree have the exact limits of all their exchanges") {
  const auto found = sweep_share(seeds_of({9, 11, 10, 8, 12}, 10'000));
  CHECK_FALSE(found.by_seeds);
  CHECK(found.seeds_p > 0.5);
  const auto exact = share_of(50, 50'000);
  CHECK(found.share->low == exact->low);
  CHECK(found.share->high == exact->high);
  // By hand: (25 + 25 + 0 + 4 + 4) / 10 = 5.8 with 4 degrees of freedom, p = 0.21. More than expected, not more than by
  // chance.
  const auto loose = sweep_share(seeds_of({5, 15, 10, 12, 8}, 10'000));
  CHECK(loose.seeds_p == Approx(0.21).margin(0.01));
  CHECK_FALSE(loose.by_seeds);
  CHECK(loose.share->high == exact->high);
  // One seed alone cannot disagree.
  CHECK_FALSE(sweep_share(seeds_of({50}, 50'000)).by_seeds);
  CHECK(sweep_share(seeds_of({0, 0}, 100)).share->high == share_of(0, 200)->high);
  CHECK_FALSE(sweep_share({}).share);
}

TEST_CASE("seeds that disagree count as one observation each") {
  // The interval of Korn and Graubard, worked out for this test from its formulas in thirty digits (incomplete beta
  // functions, Student's t with 4 degrees of freedom): the design effect is 16.266, 50 of 50,000 are worth 1.53 of
  // 1,532.
  const auto found = sweep_share(seeds_of({4, 0, 31, 2, 13}, 10'000));
  CHECK(found.by_seeds);
  CHECK(found.seeds_p < 0.001);
  CHECK(found.share->value == Approx(0.001));
  CHECK(found.share->low == Approx(7.51129304951e-5).epsilon(1e-6));
  CHECK(found.share->high == Approx(0.00421610027079).epsilon(1e-6));
}

TEST_CASE("limits hold where seeds have shares of their own, and where they have one", "[cover]") {
  constexpr int sweeps = 300;
  // What 95 % is to be: less three standard deviations of 300 draws.
  const int least = static_cast<int>(sweeps * 0.95 - 3 * std::sqrt(sweeps * 0.95 * 0.05));
  for (const std::size_t seeds : {5U, 10U, 20U}) {
    for (const double share : {0.001, 0.01}) {
      CAPTURE(seeds, share);
      const auto alike = covered(seeds, share, false, sweeps);
      CHECK(alike.pooled >= least);
      CHECK(alike.told >= least);
      // Of exponentially distributed shares the mean of few seeds is skewed: less than 95 %, far more than pooled.
      const auto apart = covered(seeds, share, true, sweeps);
      WARN(seeds << " seeds, share " << share << ": pooled " << 100.0 * apart.pooled / sweeps << " %, told "
                 << 100.0 * apart.told / sweeps << " %; alike " << 100.0 * alike.told / sweeps << " %");
      CHECK(apart.told >= sweeps * 85 / 100);
      CHECK(apart.told >= apart.pooled);
    }
  }
}

}  // namespace hopbench
