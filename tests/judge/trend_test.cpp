#include "judge/trend.h"

#include <vector>

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("with every subject a cluster of its own the trend is about that of Cochran and Armitage") {
  // Fleiss, "Statistical Methods for Rates and Proportions" (1981), p. 139, as in the help of R's prop.trend.test:
  // smokers 83 90 129 70 of 86 93 136 82, z = -2.867913. Ours takes the variance from the clusters instead of from the
  // pooled share, so it may differ a little.
  const double smokers[] = {83, 90, 129, 70};
  const double patients[] = {86, 93, 136, 82};
  std::vector<Tried> rows;
  std::uint32_t subject = 0;
  for (std::size_t group = 0; group < 4; ++group) {
    for (double i = 0; i < patients[group]; ++i) {
      rows.push_back({subject++, 0, static_cast<double>(group + 1), 1, i < smokers[group] ? 1.0 : 0.0});
    }
  }
  const auto trend = trend_of(rows);
  REQUIRE(trend.tested);
  CHECK(trend.clusters == 397);
  CHECK(trend.t == Approx(-2.867913).epsilon(0.12));
  CHECK(trend.p < 0.02);
}

TEST_CASE("failures that all come from one cluster are no trend") {
  std::vector<Tried> rows;
  for (std::uint32_t cluster = 0; cluster < 10; ++cluster) {
    rows.push_back({cluster, 0, 0, 100, 0});
    rows.push_back({cluster, 0, 1, 100, cluster == 3 ? 60.0 : 0.0});
  }
  const auto trend = trend_of(rows);
  REQUIRE(trend.tested);
  CHECK(trend.t == Approx(1.0));  // one of ten scores differs from nothing: mean over standard error is 1
  CHECK(trend.p > 0.3);
}

TEST_CASE("what differs only between strata is no trend within them") {
  // Stratum 1 fails more and has higher values; within each stratum the share is the same at all values.
  std::vector<Tried> rows;
  for (std::uint32_t cluster = 0; cluster < 10; ++cluster) {
    rows.push_back({cluster, 0, 0, 100, 1});
    rows.push_back({cluster, 0, 1, 10, 0.1});
    rows.push_back({cluster, 1, 1, 10, 1});
    rows.push_back({cluster, 1, 2, 100, 10});
  }
  for (auto& row : rows) row.failures += row.cluster % 2 == 0 ? 0.02 : -0.02;  // or there would be nothing to divide by
  CHECK(trend_of(rows).p > 0.1);
  for (auto& row : rows) row.stratum = 0;
  CHECK(trend_of(rows).p < 1e-6);
}

TEST_CASE("too few clusters, or nothing to compare with, is not tested") {
  std::vector<Tried> rows;
  for (std::uint32_t cluster = 0; cluster < 5; ++cluster) {
    rows.push_back({cluster, 0, 0, 100, 10});
    rows.push_back({cluster, 0, 1, 100, 20});
  }
  CHECK_FALSE(trend_of(rows).tested);
  CHECK(trend_of(rows, 5).tested);
  rows.clear();
  for (std::uint32_t cluster = 0; cluster < 50; ++cluster) rows.push_back({cluster, 0, 3, 100, 10});
  CHECK_FALSE(trend_of(rows).tested);
  CHECK_FALSE(trend_of({}).tested);
}
