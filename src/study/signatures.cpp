#include "study/signatures.h"

#include <algorithm>

#include "study/weighing.h"

namespace hopbench {
namespace {

constexpr double told_apart = 1.0;  // points

void weigh_all(Weighing& scale) {
  const auto family = scale.c().family;
  const bool own = family == Family::unseen || family == Family::wire || family == Family::late;
  if (scale.e().sight == Sight::controller_only && own) return weigh_controller(scale);
  if (family == Family::wire) return weigh_wire(scale);
  if (family == Family::late) return weigh_late(scale);
  weigh_station(scale);
}

}  // namespace

std::vector<Candidate> candidates_for(const Evidence& evidence, const Case& which) {
  std::vector<Candidate> found;
  if (which.incidents.empty()) return found;
  const auto facts = facts_of(evidence, which);
  Weighing scale(evidence, which, facts, found);
  weigh_all(scale);
  std::stable_sort(found.begin(), found.end(),
                   [](const Candidate& a, const Candidate& b) { return a.score > b.score; });
  return found;
}

std::size_t tied_at_top(const std::vector<Candidate>& candidates) {
  std::size_t tied = 0;
  while (tied < candidates.size() && candidates[tied].score > candidates.front().score - told_apart) ++tied;
  return tied;
}

}  // namespace hopbench
