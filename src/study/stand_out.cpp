#include "study/stand_out.h"

#include <algorithm>

#include "judge/outliers.h"
#include "study/family.h"

namespace hopbench {
namespace {

constexpr std::uint64_t long_stretch = 12;  // frames in a row

}  // namespace

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
