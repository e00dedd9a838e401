// The field of noise: the law of its hits, and that it is the same field however it is looked at.
#include "base/noise_field.h"

#include <algorithm>
#include <cmath>
#include <set>
#include <tuple>
#include <utility>
#include <vector>

#include "support/catch.h"

namespace hopbench {
namespace {

using Place = std::pair<std::uint64_t, std::uint32_t>;

StreamKey row(std::uint64_t number) { return Luck(11).stream(name_hash("noise field"), Purpose::test, number); }

Rate rate_of(double p) { return rate_of_probability(static_cast<std::uint64_t>(p * 1e15)); }

/// All hits of turns first..last, found one after the other.
std::vector<NoisePoint> hits(StreamKey stream, Rate cap, std::uint64_t first, std::uint64_t last) {
  std::vector<NoisePoint> found;
  std::uint64_t turn = first;
  std::uint32_t bit = 0;
  NoisePoint point;
  while (turn <= last && first_point(stream, turn, bit, cap, last, point)) {
    found.push_back(point);
    turn = point.turn + (point.bit + 1) / field_row_bits;
    bit = (point.bit + 1) % field_row_bits;
  }
  return found;
}

std::set<Place> places(const std::vector<NoisePoint>& points) {
  std::set<Place> result;
  for (const NoisePoint& point : points) result.insert({point.turn, point.bit});
  return result;
}

double z_of_binomial(double seen, double n, double p) { return (seen - n * p) / std::sqrt(n * p * (1 - p)); }

}  // namespace

TEST_CASE("a bit is hit with the probability that was asked for") {
  const auto [p, turns] = GENERATE(std::pair{0.3, 2'000U}, std::pair{1e-2, 20'000U}, std::pair{1e-4, 200'000U},
                                   std::pair{1e-6, 4'000'000U});
  for (const std::uint64_t number : {1U, 2U}) {
    const auto found = hits(row(number), rate_of(p), 0, turns - 1);
    INFO("p " << p << ", hits " << found.size());
    CHECK(std::abs(z_of_binomial(static_cast<double>(found.size()), turns * double{field_row_bits}, p)) < 4);
    CHECK(places(found).size() == found.size());
  }
}

TEST_CASE("hits fall evenly on the bits of a row") {
  // Chi-squared over 16 parts of a row, 15 degrees of freedom: 99.99 % lie below 44.26 (any table).
  std::vector<double> seen(16, 0.0);
  const auto found = hits(row(3), rate_of(1e-3), 0, 199'999);
  for (const NoisePoint& point : found) seen[point.bit / 16] += 1;
  const double each = static_cast<double>(found.size()) / 16;
  double chi_squared = 0;
  for (const double n : seen) chi_squared += (n - each) * (n - each) / each;
  CHECK(chi_squared < 44.26);
}

TEST_CASE("a lower rate takes hits away and adds none") {
  const auto [high, low, turns] =
      GENERATE(std::tuple{0.3, 0.29, 400U}, std::tuple{1e-2, 1e-3, 10'000U}, std::tuple{1e-5, 3.3e-6, 400'000U});
  const auto at_high = hits(row(4), rate_of(high), 0, turns);
  const auto at_low = hits(row(4), rate_of(low), 0, turns);
  const std::set<Place> high_places = places(at_high);
  const std::set<Place> low_places = places(at_low);
  CHECK(low_places.size() < high_places.size());
  CHECK_FALSE(low_places.empty());
  for (const Place& place : low_places) REQUIRE(high_places.count(place) == 1);
  // And it takes away only those whose mark says so.
  for (const NoisePoint& point : at_high) {
    if (point.mark < rate_of(low)) REQUIRE(low_places.count({point.turn, point.bit}) == 1);
  }
  for (const NoisePoint& point : at_low) REQUIRE(point.mark < rate_of(low));
}

TEST_CASE("no rate, no hits; more than the largest rate is the largest rate") {
  NoisePoint point;
  CHECK_FALSE(first_point(row(5), 0, 0, 0, 1'000'000, point));
  CHECK(places(hits(row(5), 3 * max_rate, 0, 20)) == places(hits(row(5), max_rate, 0, 20)));
}

TEST_CASE("the first point is the same wherever the search begins and ends") {
  const double p = GENERATE(0.3, 1e-2, 1e-4);
  const Rate cap = rate_of(p);
  constexpr std::uint64_t last = 3'000;
  const auto all = hits(row(6), cap, 0, last);
  REQUIRE(all.size() > 10);
  const StreamKey where = row(7);
  for (std::uint64_t i = 0; i < 2'000; ++i) {
    const auto [a, b] = draw2(where, i, 0);
    const Place from{below(last + 1, a), static_cast<std::uint32_t>(below(field_row_bits, b))};
    const std::uint64_t until = from.first + below(last + 1 - from.first, draw(where, i, 1));
    NoisePoint found;
    const bool any = first_point(row(6), from.first, from.second, cap, until, found);
    const auto expected = std::find_if(all.begin(), all.end(), [&](const NoisePoint& each) {
      return Place{each.turn, each.bit} >= from;
    });
    REQUIRE(any == (expected != all.end() && expected->turn <= until));
    if (any) REQUIRE(found == *expected);
  }
}

TEST_CASE("far turns are reached without what lies before them") {
  NoisePoint far;
  const std::uint64_t turn = std::uint64_t{1} << 50U;
  REQUIRE(first_point(row(8), turn, 7, rate_of(1e-3), turn + 1'000, far));
  NoisePoint again;
  REQUIRE(first_point(row(8), far.turn, far.bit, rate_of(1e-3), far.turn, again));
  CHECK(again == far);
  CHECK_FALSE(first_point(row(8), turn, 7, rate_of(1e-3), turn - 1, again));
}

TEST_CASE("rows are independent of each other, and bits of their neighbours") {
  constexpr double p = 0.3;
  constexpr std::uint64_t turns = 2'000;
  constexpr double n = turns * double{field_row_bits};
  const std::set<Place> a = places(hits(row(9), rate_of(p), 0, turns - 1));
  const std::set<Place> b = places(hits(row(10), rate_of(p), 0, turns - 1));
  double both = 0;
  double pairs = 0;
  for (const Place& place : a) {
    both += static_cast<double>(b.count(place));
    pairs += static_cast<double>(a.count({place.first, place.second + 1}));
  }
  CHECK(std::abs(z_of_binomial(both, n, p * p)) < 4);
  // Neighbouring pairs overlap: var = m (p^2 + 2 p^3 - 3 p^4) for m pairs in a long row.
  const double m = turns * (field_row_bits - 1.0);
  CHECK(std::abs(pairs - m * p * p) < 4 * std::sqrt(m * (p * p + 2 * p * p * p - 3 * p * p * p * p)));
}

TEST_CASE("a field does not know who else was asked") {
  const auto alone = hits(row(12), rate_of(1e-3), 0, 500);
  NoisePoint unused;
  std::vector<NoisePoint> among;
  std::uint64_t from = 0;
  NoisePoint point;
  while (from <= 500 && first_point(row(12), from, 0, rate_of(1e-3), 500, point)) {
    (void)first_point(row(13), from, 0, rate_of(0.1), 500, unused);
    (void)first_point(row(12), 400, 0, rate_of(0.1), 500, unused);
    if (among.empty() || !(among.back() == point)) among.push_back(point);
    from = point.turn + 1;
  }
  REQUIRE_FALSE(among.empty());
  for (const NoisePoint& each : among) CHECK(std::find(alone.begin(), alone.end(), each) != alone.end());
}

}  // namespace hopbench
