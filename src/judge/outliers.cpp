#include "judge/outliers.h"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <numeric>

namespace hopbench {
namespace {

constexpr double level = 0.01;  // family-wise
constexpr double least_hits = 3;

/// Chance of `hits` or more of `trials` at this share.
double upper_tail(double hits, double trials, double share) {
  if (hits <= 0) return 1;
  const boost::math::binomial_distribution<double> law(trials, std::clamp(share, 1e-15, 1.0));
  return boost::math::cdf(boost::math::complement(law, hits - 1));
}

}  // namespace

std::vector<Outlier> outliers(std::span<const double> hits, std::span<const double> trials) {
  std::vector<std::size_t> order(hits.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  const auto share = [&](std::size_t i) { return trials[i] > 0 ? hits[i] / trials[i] : 0; };
  std::stable_sort(order.begin(), order.end(), [&](auto a, auto b) { return share(a) > share(b); });
  double all_hits = std::accumulate(hits.begin(), hits.end(), 0.0);
  double all_trials = std::accumulate(trials.begin(), trials.end(), 0.0);
  std::vector<Outlier> found;
  double worst_p = 0;
  for (std::size_t rank = 0; rank < order.size(); ++rank) {
    const auto i = order[rank];
    all_hits -= hits[i];
    all_trials -= trials[i];
    if (hits[i] < least_hits || all_trials <= 0) break;
    // Half a hit more: with none elsewhere the share elsewhere is not known to be nothing.
    const double elsewhere = (all_hits + 0.5) / (all_trials + 1);
    const double p = upper_tail(hits[i], trials[i], elsewhere) * static_cast<double>(order.size() - rank);
    worst_p = std::max(worst_p, std::min(1.0, p));
    if (worst_p > level || share(i) < 2 * elsewhere) break;
    found.push_back({i, worst_p});
  }
  return found;
}

}  // namespace hopbench
