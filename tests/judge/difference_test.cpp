#include "judge/difference.h"

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("a difference of shares has the limits that were published") {
  struct Row {
    double x1, n1, x2, n2, difference, low, high;
  };
  // R. G. Newcombe, Statistics in Medicine 17 (1998) 873-890, table II, method 10 (data sets from memory, recomputed
  // with R); the last one: M. W. Fagerland, S. Lydersen, P. Laake, Statistical Methods in Medical Research 24 (2015),
  // as in the tests of statsmodels. There the first less the second; here the second less the first.
  const Row rows[] = {
      {56, 70, 48, 80, 0.2000, 0.0524, 0.3339}, {6, 7, 2, 7, 0.5714, 0.0582, 0.8062},
      {0, 10, 0, 20, 0, -0.1611, 0.2775},       {0, 10, 0, 10, 0, -0.2775, 0.2775},
      {10, 10, 0, 20, 1, 0.6791, 1.0000},       {10, 10, 0, 10, 1, 0.6075, 1.0000},
  };
  for (const auto& row : rows) {
    CAPTURE(row.x1, row.n1, row.x2, row.n2);
    const auto difference = difference_of({row.x2, row.n2}, {row.x1, row.n1});
    CHECK(difference.value == Approx(row.difference).margin(5e-5));
    CHECK(difference.low == Approx(row.low).margin(5e-5));
    CHECK(difference.high == Approx(row.high).margin(5e-5));
  }
  const auto last = difference_of({1, 34}, {7, 34});
  CHECK(last.low == Approx(0.019).margin(5e-4));
  CHECK(last.high == Approx(0.34).margin(5e-3));
}

TEST_CASE("Fisher's exact test gives what R gives") {
  struct Row {
    std::uint64_t x1, n1, x2, n2;
    double p;
  };
  // fisher.test of R 4.2.2, computed for this test. The first is the tea of R. A. Fisher, "The Design of Experiments".
  const Row rows[] = {
      {3, 4, 1, 4, 0.4857142857},
      {56, 70, 48, 80, 0.01252112975},
      {7, 34, 1, 34, 0.0544001305},
      {12, 100000, 31, 100000, 0.005396708628},
      {0, 10, 0, 20, 1},
      {5, 1000, 0, 4000, 0.000317445631},
      {40, 518400, 90, 518400, 1.369840573e-05},
  };
  for (const auto& row : rows) {
    CAPTURE(row.x1, row.n1, row.x2, row.n2);
    CHECK(fisher_exact(row.x1, row.n1, row.x2, row.n2) == Approx(row.p).epsilon(1e-6));
    CHECK(fisher_exact(row.x2, row.n2, row.x1, row.n1) == Approx(row.p).epsilon(1e-6));
  }
}

TEST_CASE("Fisher's exact test is the sum over tables, whatever the table") {
  // By its definition, table by table, with exact binomials of small numbers.
  const auto choose = [](std::uint64_t n, std::uint64_t k) {
    double ways = 1;
    for (std::uint64_t i = 1; i <= k; ++i) ways = ways * static_cast<double>(n - k + i) / static_cast<double>(i);
    return ways;
  };
  for (std::uint64_t n1 = 1; n1 < 9; ++n1) {
    for (std::uint64_t n2 = 1; n2 < 9; ++n2) {
      for (std::uint64_t x1 = 0; x1 <= n1; ++x1) {
        for (std::uint64_t x2 = 0; x2 <= n2; ++x2) {
          const auto hits = x1 + x2;
          const double observed = choose(n1, x1) * choose(n2, x2);
          double sum = 0;
          for (std::uint64_t k = hits > n2 ? hits - n2 : 0; k <= std::min(n1, hits); ++k) {
            const double table = choose(n1, k) * choose(n2, hits - k);
            if (table <= observed * (1 + 1e-7)) sum += table;
          }
          CAPTURE(x1, n1, x2, n2);
          REQUIRE(fisher_exact(x1, n1, x2, n2) == Approx(sum / choose(n1 + n2, hits)).epsilon(1e-9));
        }
      }
    }
  }
}
