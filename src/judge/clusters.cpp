#include "judge/clusters.h"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <vector>

namespace hopbench {
namespace {

constexpr std::uint64_t most_splits = 20'000;
constexpr double normal_reach = 1.959963985;  // 97.5 % of the normal law lie below

struct Ratio {
  double clusters = 0;  // that hold trials
  double trials = 0;
  double hits = 0;
  double variance = 0;  // of hits / trials, between clusters
};

Ratio ratio_of(std::span<const Counted> clusters) {
  Ratio ratio;
  for (const auto& each : clusters) {
    if (each.trials <= 0) continue;
    ratio.clusters += 1;
    ratio.trials += each.trials;
    ratio.hits += each.hits;
  }
  if (ratio.clusters < 2) return ratio;
  const double share = ratio.hits / ratio.trials;
  double squares = 0;
  for (const auto& each : clusters) {
    const double residual = each.hits - share * each.trials;
    squares += residual * residual;
  }
  ratio.variance = squares * ratio.clusters / (ratio.clusters - 1) / (ratio.trials * ratio.trials);
  return ratio;
}

/// Number of ways to choose, or `most` + 1 if more.
std::uint64_t ways(std::uint64_t n, std::uint64_t k, std::uint64_t most) {
  k = std::min(k, n - k);
  std::uint64_t count = 1;
  for (std::uint64_t i = 1; i <= k; ++i) {
    count = count * (n - k + i) / i;
    if (count > most) return most + 1;
  }
  return count;
}

}  // namespace

double effective_trials(std::span<const Counted> clusters, double times) {
  const auto ratio = ratio_of(clusters);
  if (ratio.clusters < 2) return 0;
  const double share = ratio.hits / ratio.trials;
  const double independent = share * (1 - share) / ratio.trials;
  if (independent <= 0 || ratio.variance <= independent) return times * ratio.trials;
  const boost::math::students_t_distribution<double> student(times * ratio.clusters - 1);
  const double reach = normal_reach / boost::math::quantile(student, 0.975);
  return times * ratio.trials * independent / ratio.variance * reach * reach;
}

double welch_by_cluster(std::span<const Counted> first, std::span<const Counted> second) {
  const auto a = ratio_of(first);
  const auto b = ratio_of(second);
  const double variance = a.variance + b.variance;
  if (a.clusters < 2 || b.clusters < 2 || variance <= 0) return 1;
  const double t = (b.hits / b.trials - a.hits / a.trials) / std::sqrt(variance);
  const double freedom =
      variance * variance / (a.variance * a.variance / (a.clusters - 1) + b.variance * b.variance / (b.clusters - 1));
  const boost::math::students_t_distribution<double> student(freedom);
  return 2 * boost::math::cdf(boost::math::complement(student, std::abs(t)));
}

Permuted permuted(std::size_t first, std::size_t second, const std::function<double(Split)>& statistic, StreamKey luck,
                  std::uint32_t draws) {
  Permuted result;
  if (first == 0 || second == 0) return result;
  const std::size_t all = first + second;
  std::vector<std::uint8_t> split(all, 0);
  std::fill(split.begin() + static_cast<std::ptrdiff_t>(first), split.end(), std::uint8_t{1});
  const double seen = statistic(split);
  // What differs by rounding only is as far.
  const double bar = seen - 1e-9 * std::abs(seen);
  std::uint64_t as_far = 0;
  if (ways(all, first, most_splits) <= most_splits) {
    result.all = true;
    do {
      ++result.splits;
      if (statistic(split) >= bar) ++as_far;
    } while (std::next_permutation(split.begin(), split.end()));
    // The walk began at the first split in order, which is this one, so it met them all.
  } else {
    result.splits = 1;
    as_far = 1;
    for (std::uint32_t i = 0; i < draws; ++i) {
      for (std::size_t last = all - 1; last > 0; --last) {
        std::swap(split[last], split[below(last + 1, draw(luck, i, last))]);
      }
      ++result.splits;
      if (statistic(split) >= bar) ++as_far;
    }
  }
  result.p = static_cast<double>(as_far) / static_cast<double>(result.splits);
  return result;
}

double least_p(std::size_t first, std::size_t second) {
  if (first == 0 || second == 0) return 1;
  // Of groups of one size each split has its mirror image, which is as far apart.
  const double as_far = first == second ? 2 : 1;
  return as_far / static_cast<double>(std::min<std::uint64_t>(ways(first + second, first, most_splits), most_splits));
}

}  // namespace hopbench
