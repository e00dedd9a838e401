#include "judge/limits.h"

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("limits of a share are the exact ones that were published") {
  struct Row {
    std::uint64_t hits, trials;
    double low, high, within;
  };
  // Clopper-Pearson, 95 %. 81/263, 0/20: R. G. Newcombe, "Two-sided confidence intervals for the single proportion",
  // Statistics in Medicine 17 (1998), table I (from memory; recomputed with SciPy and R). 682/925: W. J. Conover,
  // "Practical Nonparametric Statistics" (1971), p. 97, as in the help of R's binom.test. The others were computed with
  // SciPy and R.
  const Row rows[] = {
      {81, 263, 0.2527, 0.3676, 5e-5},     {0, 20, 0, 0.1684, 5e-5},
      {4, 20, 0.0573, 0.4366, 5e-5},       {0, 10, 0, 0.308497, 5e-7},
      {5, 10, 0.187086, 0.812914, 5e-7},   {10, 10, 0.691503, 1, 5e-7},
      {3, 1000, 0.000619, 0.008742, 5e-7}, {682, 925, 0.7076683, 0.7654066, 5e-8},
  };
  for (const auto& row : rows) {
    CAPTURE(row.hits, row.trials);
    const auto share = share_of(row.hits, row.trials);
    REQUIRE(share);
    CHECK(share->low == Approx(row.low).margin(row.within));
    CHECK(share->high == Approx(row.high).margin(row.within));
    CHECK(share->value == Approx(static_cast<double>(row.hits) / static_cast<double>(row.trials)));
  }
  // 4/20 at 90 %: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.2 (result from memory).
  const auto ninety = share_of(4, 20, 0.90);
  REQUIRE(ninety);
  CHECK(ninety->low == Approx(0.071354).margin(5e-7));
  CHECK(ninety->high == Approx(0.401028).margin(5e-7));
}

TEST_CASE("nothing in n trials still may be three in n") {
  // J. A. Hanley, A. Lippman-Hand, "If Nothing Goes Wrong, Is Everything All Right?", JAMA 249 (1983) 1743-1745. The
  // rule is one-sided at 95 %, which is the upper one of two-sided limits at 90 %. Exact values: 1 - 0.05^(1/n).
  struct Row {
    std::uint64_t trials;
    double exact;
  };
  for (const auto& row :
       {Row{10, 0.258866}, Row{14, 0.192636}, Row{50, 0.058155}, Row{100, 0.029513}, Row{112, 0.026393},
        Row{167, 0.017779}, Row{300, 0.009936}, Row{1000, 0.002991}, Row{1500, 0.001995}}) {
    CAPTURE(row.trials);
    const auto share = share_of(0, row.trials, 0.90);
    REQUIRE(share);
    CHECK(share->low == 0);
    CHECK(share->high == Approx(row.exact).margin(5e-7));
    CHECK(share->high < 3.0 / static_cast<double>(row.trials));
  }
}

TEST_CASE("a share of no trials is not known") {
  // RFC 7680, section 4.1: the loss ratio of an empty sample is undefined; losses 0,0,1,0,0 are 0.2.
  CHECK_FALSE(share_of(0, 0));
  REQUIRE(share_of(1, 5));
  CHECK(share_of(1, 5)->value == Approx(0.2));
}
