#include "judge/merged_bins.h"

#include <random>

#include "support/catch.h"

using namespace hopbench;

namespace {

std::vector<std::pair<std::size_t, std::size_t>> ranges(const std::vector<Counted>& bins, std::size_t most) {
  std::vector<std::pair<std::size_t, std::size_t>> found;
  for (const auto range : merged_bins(bins, most)) found.emplace_back(range.first, range.last);
  return found;
}

using Ranges = std::vector<std::pair<std::size_t, std::size_t>>;

}  // namespace

TEST_CASE("neighbours without a hit are one range, and bins without trials are none") {
  CHECK(ranges({{0, 100}, {0, 50}, {0, 0}, {0, 10}, {3, 100}, {0, 5}}, 8) == Ranges{{0, 3}, {4, 4}, {5, 5}});
  CHECK(ranges({}, 8).empty());
  CHECK(ranges({{0, 0}, {0, 0}}, 8).empty());
}

TEST_CASE("bins with hits are joined only where there are too many, those first that differ least") {
  const std::vector<Counted> bins{{10, 100}, {11, 100}, {40, 100}};
  CHECK(ranges(bins, 3).size() == 3);
  CHECK(ranges(bins, 2) == Ranges{{0, 1}, {2, 2}});
  // What differs stays apart, however few are asked for. By hand: 21 of 200 against 40 of 100 is chi-square 37.5.
  CHECK(ranges(bins, 1) == Ranges{{0, 1}, {2, 2}});
}

TEST_CASE("a rise that is there is never joined away, wherever it lies") {
  // One bin of 24 has four times the share of the others: its range, and no other, must show it.
  std::mt19937 draw(5);
  for (int round = 0; round < 200; ++round) {
    const std::size_t high = draw() % 24;
    std::vector<Counted> bins;
    for (std::size_t i = 0; i < 24; ++i) {
      std::binomial_distribution<int> hits(2000, i == high ? 0.08 : 0.02);
      bins.push_back({static_cast<double>(hits(draw)), 2000});
    }
    CAPTURE(round, high);
    for (const auto range : merged_bins(bins, 6)) {
      if (range.first <= high && high <= range.last) CHECK((range.first == high && range.last == high));
    }
  }
}
