#include "judge/independence.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <vector>

namespace hopbench {
namespace {

double log_ways(double n, double k) {
  return boost::math::lgamma(n + 1) - boost::math::lgamma(k + 1) - boost::math::lgamma(n - k + 1);
}

}  // namespace

double few_runs(std::uint64_t hits, std::uint64_t trials, std::uint64_t runs) {
  if (hits < 2 || hits >= trials) return 1;
  const auto k = static_cast<double>(hits);
  const auto others = static_cast<double>(trials - hits);
  const double all = log_ways(k + others, k);
  // The sum goes down from the largest term and ends where the rest adds nothing.
  double sum = 0;
  for (std::uint64_t r = std::min({runs, hits, trials - hits + 1}); r > 0; --r) {
    const auto at = static_cast<double>(r);
    const double term = std::exp(log_ways(k - 1, at - 1) + log_ways(others + 1, at) - all);
    sum += term;
    const bool falls = at < k * (others + 1) / (k + others);
    if (falls && term < sum * 1e-12) break;
  }
  return std::min(1.0, sum);
}

Dispersion dispersion_of(std::span<const Counted> blocks, double least_expected) {
  double hits = 0;
  double trials = 0;
  for (const auto& each : blocks) {
    hits += each.hits;
    trials += each.trials;
  }
  if (hits <= 0 || hits >= trials) return {};
  const double share = hits / trials;
  std::vector<Counted> joined;
  Counted open{0, 0};
  for (const auto& each : blocks) {
    open.hits += each.hits;
    open.trials += each.trials;
    if (open.trials * share < least_expected) continue;
    joined.push_back(open);
    open = {0, 0};
  }
  // What is left at the end is too little for a block of its own.
  if (!joined.empty()) {
    joined.back().hits += open.hits;
    joined.back().trials += open.trials;
  }
  if (joined.size() < 2) return {};
  double squares = 0;
  for (const auto& each : joined) {
    const double off = each.hits - each.trials * share;
    squares += off * off / (each.trials * share * (1 - share));
  }
  const auto freedom = static_cast<double>(joined.size() - 1);
  const boost::math::chi_squared_distribution<double> law(freedom);
  return {squares / freedom, boost::math::cdf(boost::math::complement(law, squares))};
}

}  // namespace hopbench
