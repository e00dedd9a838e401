#include "study/stand_out.h"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <numeric>

#include "study/cases.h"

namespace hopbench {
namespace {

constexpr double level = 0.01;              // family-wise
constexpr std::uint64_t long_stretch = 12;  // frames in a row
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

std::vector<StandOut> standing_out(const Evidence& evidence) {
  const auto& links = evidence.links;
  if (evidence.sight == Sight::controller_only || links.size() < 2) return {};
  // Bunches count once, or a single bad minute would make a hop stand out.
  std::vector<double> episodes(links.size(), 0);
  std::vector<std::uint64_t> in_a_row(links.size(), 0);
  std::vector<std::uint64_t> most_in_a_row(links.size(), 0);
  for (const auto& incident : evidence.incidents) {
    const auto link = incident.link;
    if (family_of(incident.ending) != Family::wire || link >= links.size()) continue;
    if (incident.good_before > good_within) {
      episodes[link] += evidence.one_incident_in;
      in_a_row[link] = 0;
    }
    ++in_a_row[link];
    most_in_a_row[link] = std::max(most_in_a_row[link], in_a_row[link]);
  }
  std::vector<StandOut> found;
  std::vector<double> hits;
  std::vector<double> trials;
  std::vector<std::size_t> place;
  for (std::size_t i = 0; i < links.size(); ++i) {
    // A stretch in which nothing came through is no matter of chance, even if there was only one.
    if (most_in_a_row[i] >= long_stretch) {
      found.push_back({static_cast<std::uint16_t>(i), static_cast<std::uint64_t>(episodes[i]), most_in_a_row[i], 0});
      continue;
    }
    hits.push_back(episodes[i]);
    trials.push_back(std::max(static_cast<double>(links[i].frames), episodes[i]));
    place.push_back(i);
  }
  std::stable_sort(found.begin(), found.end(),
                   [](const StandOut& a, const StandOut& b) { return a.in_a_row > b.in_a_row; });
  for (const auto& outlier : outliers(hits, trials)) {
    const auto i = place[outlier.index];
    found.push_back({static_cast<std::uint16_t>(i), static_cast<std::uint64_t>(episodes[i]), most_in_a_row[i],
                     std::max(outlier.adjusted_p, 1e-300)});
  }
  return found;
}

}  // namespace hopbench
