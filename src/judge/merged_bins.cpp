#include "judge/merged_bins.h"

namespace hopbench {
namespace {

constexpr double chi_square_5_percent = 3.841;  // one degree of freedom

struct Range {
  BinRange bins;
  Counted counts;
};

/// Of two shares against one for both.
double chi_square(Counted a, Counted b) {
  const double trials = a.trials + b.trials;
  const double share = (a.hits + b.hits) / trials;
  if (share <= 0 || share >= 1) return 0;
  const double apart = a.share() - b.share();
  return apart * apart * a.trials * b.trials / trials / (share * (1 - share));
}

void join(std::vector<Range>& ranges, std::size_t first) {
  auto& one = ranges[first];
  const auto& next = ranges[first + 1];
  one.bins.last = next.bins.last;
  one.counts = {one.counts.hits + next.counts.hits, one.counts.trials + next.counts.trials};
  ranges.erase(ranges.begin() + static_cast<std::ptrdiff_t>(first) + 1);
}

}  // namespace

std::vector<BinRange> merged_bins(std::span<const Counted> bins, std::size_t most) {
  std::vector<Range> ranges;
  for (std::size_t i = 0; i < bins.size(); ++i) {
    if (bins[i].trials <= 0) continue;
    ranges.push_back({{i, i}, bins[i]});
    const std::size_t size = ranges.size();
    if (size > 1 && ranges[size - 2].counts.hits <= 0 && bins[i].hits <= 0) join(ranges, size - 2);
  }
  while (ranges.size() > most) {
    std::size_t least = 0;
    double apart = chi_square_5_percent;
    for (std::size_t i = 0; i + 1 < ranges.size(); ++i) {
      const double between = chi_square(ranges[i].counts, ranges[i + 1].counts);
      if (between >= apart) continue;
      apart = between;
      least = i;
    }
    if (apart >= chi_square_5_percent) break;
    join(ranges, least);
  }
  std::vector<BinRange> found;
  for (const auto& range : ranges) found.push_back(range.bins);
  return found;
}

}  // namespace hopbench
