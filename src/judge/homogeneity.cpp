#include "judge/homogeneity.h"

#include <algorithm>
#include <cstdint>
#include <vector>

#include "judge/independence.h"

namespace hopbench {
namespace {

constexpr double least_expected = 5;
constexpr std::uint64_t most_deals = 9'999;
constexpr std::uint64_t fewest_deals = 499;
constexpr std::uint64_t most_draws = 20'000'000;  // some tenths of a second

/// Trials of clusters as one row of places, to which hits are dealt without putting two on one.
class Dealer {
 public:
  Dealer(const std::vector<Counted>& clusters, StreamKey luck) : luck_(luck) {
    for (const auto& each : clusters) {
      ends_.push_back(all_ += static_cast<std::uint64_t>(each.trials));
      sizes_.push_back(each.trials);
    }
    dealt_.resize(clusters.size());
  }

  /// The statistic of deal number `deal`.
  double statistic_of(std::uint64_t hits, std::uint64_t deal) {
    std::fill(dealt_.begin(), dealt_.end(), 0.0);
    std::uint64_t draws = 0;
    for (std::uint64_t hit = 0; hit < hits;) {
      const auto bits = draw2(luck_, deal, draws++);
      const auto at =
          static_cast<std::size_t>(std::upper_bound(ends_.begin(), ends_.end(), below(all_, bits[0])) - ends_.begin());
      // The place may be taken already, as often as the cluster is full.
      const auto size = static_cast<std::uint64_t>(sizes_[at]);
      if (below(size, bits[1]) < static_cast<std::uint64_t>(dealt_[at])) continue;
      ++dealt_[at];
      ++hit;
    }
    return statistic(dealt_);
  }

  /// What of Pearson's statistic differs from deal to deal: the sum of hits squared over trials.
  [[nodiscard]] double statistic(const std::vector<double>& hits) const {
    double sum = 0;
    for (std::size_t i = 0; i < hits.size(); ++i) sum += hits[i] * hits[i] / sizes_[i];
    return sum;
  }

 private:
  StreamKey luck_;
  std::vector<std::uint64_t> ends_;
  std::vector<double> sizes_;
  std::vector<double> dealt_;
  std::uint64_t all_ = 0;
};

}  // namespace

double homogeneity(std::span<const Counted> clusters, StreamKey luck) {
  std::vector<Counted> some;
  Counted all;
  double smallest = 0;
  for (const auto& each : clusters) {
    if (each.trials <= 0) continue;
    smallest = some.empty() ? each.trials : std::min(smallest, each.trials);
    some.push_back(each);
    all.hits += each.hits;
    all.trials += each.trials;
  }
  const double rare = std::min(all.hits, all.trials - all.hits);
  if (some.size() < 2 || rare < 2) return 1;
  if (smallest * rare / all.trials >= least_expected) return dispersion_of(some, 0).p;

  std::vector<double> seen;
  for (const auto& each : some) seen.push_back(rare == all.hits ? each.hits : each.trials - each.hits);
  Dealer dealer(some, luck);
  // What differs by rounding only is as far.
  const double bar = dealer.statistic(seen) * (1 - 1e-12);
  const auto hits = static_cast<std::uint64_t>(rare);
  const std::uint64_t deals = std::clamp(most_draws / hits, fewest_deals, most_deals);
  std::uint64_t as_far = 1;
  for (std::uint64_t deal = 0; deal < deals; ++deal) as_far += dealer.statistic_of(hits, deal) >= bar ? 1U : 0U;
  return static_cast<double>(as_far) / static_cast<double>(deals + 1);
}

}  // namespace hopbench
