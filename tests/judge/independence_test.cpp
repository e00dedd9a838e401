#include "judge/independence.h"

#include <array>
#include <bit>
#include <cstdint>
#include <vector>
#include "support/catch.h"

using Catch::Detail::Approx;
using namespace hopbench;

namespace {

/// Runs of ones among the lowest `length` bits.
int runs_in(std::uint32_t bits) { return std::popcount(bits & ~(bits << 1U)); }

}  // namespace

TEST_CASE("few runs: as counted over every order") {
  for (const unsigned length : {5U, 9U, 14U}) {
    for (unsigned hits = 2; hits < length; ++hits) {
      std::vector<std::uint64_t> orders(length + 2, 0);
      std::uint64_t all = 0;
      for (std::uint32_t bits = 0; bits < 1U << length; ++bits) {
        if (std::popcount(bits) != static_cast<int>(hits)) continue;
        ++orders[static_cast<std::size_t>(runs_in(bits))];
        ++all;
      }
      std::uint64_t as_few = 0;
      for (std::uint64_t runs = 1; runs <= hits; ++runs) {
        as_few += orders[runs];
        INFO(length << " trials, " << hits << " hits, " << runs << " runs");
        CHECK(few_runs(hits, length, runs) ==
              Approx(static_cast<double>(as_few) / static_cast<double>(all)).epsilon(1e-9));
      }
    }
  }
}

TEST_CASE("few runs: two failures side by side among many are no chance") {
  // Two hits stand together in n - 1 of the n (n - 1) / 2 orders.
  CHECK(few_runs(2, 100'000, 1) == Approx(2e-5));
  CHECK(few_runs(2, 100'000, 2) == Approx(1));
  // Large counts: the sum goes on over many terms, and stays a probability.
  CHECK(few_runs(10'000, 5'000'000, 10'000) == Approx(1).epsilon(1e-6));
  CHECK(few_runs(10'000, 5'000'000, 5'000) < 1e-100);
}

TEST_CASE("few runs: nothing to tell") {
  CHECK(few_runs(0, 10, 0) == 1);
  CHECK(few_runs(1, 10, 1) == 1);
  CHECK(few_runs(10, 10, 1) == 1);
}

// Fleiss 1981 p. 139, as in R's help page of prop.trend.test; prop.test(smokers, patients) gives X-squared = 12.600,
// df = 3, p-value = 0.005585 (R).
TEST_CASE("dispersion: homogeneity of four shares") {
  const std::array<Counted, 4> smokers{{{83, 86}, {90, 93}, {129, 136}, {70, 82}}};
  const auto found = dispersion_of(smokers, 5);
  CHECK(found.ratio == Approx(12.600 / 3).epsilon(0.0005));
  CHECK(found.p == Approx(0.005585).epsilon(0.0005));
}

TEST_CASE("dispersion: rare hits are looked at in blocks that hold enough of them") {
  std::vector<Counted> even(100, Counted{1, 1000});
  // Twenty blocks of five: as even as can be.
  CHECK(dispersion_of(even).ratio == Approx(0).margin(1e-12));
  CHECK(dispersion_of(even).p == Approx(1));
  // All hits in the first fifth of the time: 20 blocks of 5 expected hits, 4 of them with 25: by hand 4 * 20^2 / 5 + 16
  // * 5 = 400, over 19 and over 1 - 0.001.
  std::vector<Counted> bunched(100, Counted{0, 1000});
  for (std::size_t i = 0; i < 20; ++i) bunched[i].hits = 5;
  CHECK(dispersion_of(bunched).ratio == Approx(400.0 / 19 / 0.999));
  CHECK(dispersion_of(bunched).p < 1e-60);
  // Too few hits for two blocks.
  CHECK(dispersion_of(std::vector<Counted>{{3, 1000}, {0, 1000}}).p == 1);
  CHECK(dispersion_of(std::vector<Counted>(10, Counted{0, 1000})).p == 1);
  CHECK(dispersion_of({}).p == 1);
}
