#include "judge/outliers.h"

#include <vector>

#include "support/catch.h"

using namespace hopbench;

TEST_CASE("among equals nobody stands out") {
  const std::vector<double> hits(40, 10);
  const std::vector<double> trials(40, 10'000);
  CHECK(outliers(hits, trials).empty());
  CHECK(outliers({}, {}).empty());
}

TEST_CASE("one that does worse stands out, and so does a second one that it would hide") {
  std::vector<double> hits(20, 2);
  const std::vector<double> trials(20, 10'000);
  hits[7] = 300;
  hits[3] = 30;
  const auto found = outliers(hits, trials);
  REQUIRE(found.size() == 2);
  CHECK(found[0].index == 7);
  CHECK(found[1].index == 3);
  CHECK(found[0].adjusted_p < 1e-6);
  CHECK(found[1].adjusted_p >= found[0].adjusted_p);
}

TEST_CASE("the chance is the exact binomial one, times what is left to look at") {
  // Elsewhere 10.5 of 1001 by our half a hit. P(X >= 6 | 50, 10.5/1001) as the sum of its terms in exact fractions
  // (Python's fractions and math.comb); two are looked at.
  const std::vector<double> hits{6, 10};
  const std::vector<double> trials{50, 1000};
  const auto found = outliers(hits, trials);
  REQUIRE(found.size() == 1);
  CHECK(found[0].adjusted_p == Approx(2 * 1.424983536303656e-05).epsilon(1e-9));
}
