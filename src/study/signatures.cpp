#include "study/signatures.h"

#include <algorithm>

#include "study/controller_judge.h"
#include "study/weighing.h"

namespace hopbench {
namespace {

void weigh_all(Weighing& scale) {
  const auto family = scale.c().family;
  if (family == Family::wire) return weigh_wire(scale);
  if (family == Family::late) return weigh_late(scale);
  weigh_station(scale);
}

}  // namespace

Judged judged(const Evidence& evidence, const Case& which) {
  Judged out;
  auto& found = out.candidates;
  if (which.incidents.empty()) return out;
  if (evidence.sight == Sight::controller_only) return judged_at_controller(evidence, which, nullptr);
  const auto facts = facts_of(evidence, which);
  Weighing scale(evidence, which, facts, found);
  weigh_all(scale);
  std::stable_sort(found.begin(), found.end(),
                   [](const Candidate& a, const Candidate& b) { return a.score > b.score; });
  out.tied = tied_at_top(found);
  return out;
}

}  // namespace hopbench
