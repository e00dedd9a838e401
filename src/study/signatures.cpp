#include "study/signatures.h"

#include <algorithm>
#include <map>

#include "study/predictions.h"

namespace hopbench {
namespace {

/// Within so much (a factor of about seven) candidates cannot be told apart.
constexpr double told_apart = 2;
/// What does not predict better than "anything goes" by so much is not named.
constexpr double worth_naming = 0.3;

std::vector<Hypothesis> hypotheses(const Looked& at) {
  if (at.which.family == Family::wire) return on_wire(at);
  if (at.which.family == Family::late) return of_late(at);
  return at_station(at);
}

}  // namespace

Judged judged(const Evidence& evidence, const Case& which) {
  if (which.incidents.empty()) return {};
  if (evidence.sight == Sight::controller_only) return judged_at_controller(evidence, which);
  const auto facts = facts_of(evidence, which);
  return left_of(hypotheses({evidence, which, facts}));
}

Judged left_of(const std::vector<Hypothesis>& all) {
  std::map<Mechanism, const Hypothesis*> best;  // the most likely form that is not rejected; or the most likely
  const auto better = [](const Hypothesis& a, const Hypothesis& b) {
    const bool a_out = a.rejected().has_value();
    const bool b_out = b.rejected().has_value();
    return a_out != b_out ? b_out : a.score() > b.score();
  };
  for (const auto& each : all) {
    const auto [place, fresh] = best.try_emplace(each.mechanism(), &each);
    if (!fresh && better(each, *place->second)) place->second = &each;
  }
  Judged out;
  for (const auto& [mechanism, hypothesis] : best) {
    if (auto rejected = hypothesis->rejected()) {
      out.rejected.push_back(std::move(*rejected));
    } else if (hypothesis->score() >= worth_naming) {
      out.candidates.push_back(hypothesis->candidate());
    }
  }
  std::stable_sort(out.candidates.begin(), out.candidates.end(),
                   [](const Candidate& a, const Candidate& b) { return a.score > b.score; });
  for (const auto& each : out.candidates) {
    if (each.score > out.candidates.front().score - told_apart) ++out.tied;
  }
  return out;
}

}  // namespace hopbench
