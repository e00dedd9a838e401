#include "judge/logistic.h"

#include "support/catch.h"

using namespace hopbench;

namespace {

const std::vector<double> other{1, 0, 0, 1, 1, 1, 0, 1};
const std::vector<double> hits{2, 1, 4, 6, 9, 14, 13, 25};
const std::vector<double> trials{200, 180, 220, 200, 210, 190, 150, 180};

/// x = 0..7 and, if asked, another one; two rows to a cluster.
std::vector<Binomials> rows(bool both) {
  std::vector<Binomials> all;
  for (std::size_t i = 0; i < 8; ++i) {
    Binomials row{{static_cast<double>(i)}, trials[i], hits[i], static_cast<std::uint32_t>(i / 2)};
    if (both) row.x.push_back(other[i]);
    all.push_back(row);
  }
  return all;
}

}  // namespace

TEST_CASE("a logistic fit, its deviance and its errors by cluster are R's") {
  // Computed for this test with R 4.2.2 from the numbers above: glm(cbind(hits, trials - hits) ~ x + other, binomial);
  // errors by cluster: sqrt(diag(B M B)), B = vcov, M = crossprod of the scores summed by cluster, times sqrt(4 / 3).
  const auto fit = logistic_of(rows(true));
  REQUIRE(fit.fitted);
  CHECK(fit.coefficients[0] == Approx(-4.9487182547).epsilon(1e-8));
  CHECK(fit.coefficients[1] == Approx(0.4248269022).epsilon(1e-8));
  CHECK(fit.coefficients[2] == Approx(0.1969333193).epsilon(1e-8));
  CHECK(fit.by_cluster[0] == Approx(0.13223460601).epsilon(1e-6));
  CHECK(fit.by_cluster[1] == Approx(0.01183542574).epsilon(1e-6));
  CHECK(fit.by_cluster[2] == Approx(0.08916571166).epsilon(1e-6));
  CHECK(fit.clusters == 4);
  CHECK(fit.deviance == Approx(0.8560363768).epsilon(1e-8));
  const auto without = logistic_of(rows(false));
  CHECK(without.deviance == Approx(1.3468077742).epsilon(1e-8));
  // anova(..., test = "Chisq")
  CHECK(deviance_chance(without.deviance - fit.deviance) == Approx(0.4835834034).epsilon(1e-8));
  // 2 * pt(-0.1969333193 / 0.08916571166, 3)
  CHECK(by_cluster_chance(fit, 2) == Approx(0.1142484239).epsilon(1e-6));
}

TEST_CASE("what cannot be fitted is said so") {
  CHECK_FALSE(logistic_of({}).fitted);
  auto moving_together = rows(true);
  for (auto& row : moving_together) row.x[1] = 2 * row.x[0] + 1;
  CHECK_FALSE(logistic_of(moving_together).fitted);
  auto parted = rows(false);
  for (auto& row : parted) row.hits = row.x[0] > 3 ? row.trials : 0;
  CHECK_FALSE(logistic_of(parted).fitted);
  auto none = rows(false);
  for (auto& row : none) row.hits = 0;
  CHECK_FALSE(logistic_of(none).fitted);
}
