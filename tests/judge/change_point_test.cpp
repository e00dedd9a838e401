#include "judge/change_point.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <vector>
#include "support/catch.h"

#include "base/luck.h"

using Catch::Detail::Approx;
using namespace hopbench;

namespace {

// Annual flow of the Nile at Aswan, 1871 to 1970, in 10^8 m^3: R's data set "Nile" (Durbin and Koopman 2001), from
// memory. G. W. Cobb, Biometrika 65 (1978) 243, finds the change after 1898, the 28th value.
constexpr std::array<double, 100> nile{
    1120, 1160, 963,  1210, 1160, 1160, 813,  1230, 1370, 1140, 995,  935,  1110, 994, 1020, 960,  1180,
    799,  958,  1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774,  840,  874, 694,  940,  833,
    701,  916,  692,  1020, 1050, 969,  831,  726,  456,  824,  702,  1120, 1100, 832, 764,  821,  768,
    845,  864,  862,  698,  845,  744,  796,  1040, 759,  781,  865,  845,  944,  984, 897,  822,  1010,
    771,  676,  649,  846,  812,  742,  801,  1040, 860,  874,  848,  890,  744,  749, 838,  1050, 918,
    986,  797,  923,  975,  815,  1020, 906,  901,  1170, 912,  746,  919,  718,  714, 740};

int sign(double value) { return value > 0 ? 1 : value < 0 ? -1 : 0; }

/// Pettitt's definition, term by term.
ChangePoint by_definition(const std::vector<double>& x) {
  ChangePoint found;
  int farthest = 0;
  for (std::size_t t = 1; t < x.size(); ++t) {
    int u = 0;
    for (std::size_t i = 0; i < t; ++i) {
      for (std::size_t j = t; j < x.size(); ++j) u += sign(x[i] - x[j]);
    }
    if (std::abs(u) <= std::abs(farthest)) continue;
    farthest = u;
    found.first_after = t;
  }
  found.upward = farthest < 0;
  const double n = static_cast<double>(x.size());
  if (farthest != 0) found.p = std::min(1.0, 2 * std::exp(-6.0 * farthest * farthest / (n * n * n + n * n)));
  return found;
}

}  // namespace

TEST_CASE("change point: the Nile at Aswan") {
  const auto found = change_point(nile);
  CHECK(found.first_after == 28);
  CHECK_FALSE(found.upward);
  CHECK(found.p < 1e-5);
}

TEST_CASE("change point: as by its definition, over random series with ties") {
  for (std::uint64_t series = 0; series < 200; ++series) {
    std::vector<double> values(2 + series % 23);
    for (std::size_t i = 0; i < values.size(); ++i) {
      values[i] = static_cast<double>(below(1 + series % 7, draw(StreamKey{series + 1}, i, 0)));
    }
    const auto expected = by_definition(values);
    const auto found = change_point(values);
    CHECK(found.first_after == expected.first_after);
    if (expected.first_after != 0) CHECK(found.upward == expected.upward);
    CHECK(found.p == Approx(expected.p));
  }
}

TEST_CASE("change point: nothing to tell") {
  CHECK(change_point({}).p == 1);
  CHECK(change_point(std::vector<double>{3}).p == 1);
  CHECK(change_point(std::vector<double>(50, 2.5)).first_after == 0);
}
