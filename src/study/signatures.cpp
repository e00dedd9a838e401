#include "study/signatures.h"

#include <algorithm>
#include <map>
#include <string>
#include <utility>

#include "study/dependence.h"
#include "study/predictions.h"

namespace hopbench {
namespace {

std::vector<Hypothesis> hypotheses(const Looked& at) {
  if (at.which.family == Family::wire) return on_wire(at);
  if (at.which.family == Family::late) return of_late(at);
  return at_station(at);
}

/// What is said for and against a hypothesis is what it predicts better or worse than the others that were looked at.
Candidate in_words(const Hypothesis& hypothesis, const std::map<std::string, std::pair<double, int>>& usual) {
  constexpr std::size_t most_said = 3;
  constexpr double worth_saying = 0.4;
  std::vector<std::pair<double, const Hypothesis::Prediction*>> order;
  for (const auto& each : hypothesis.predictions()) {
    if (each.text.empty()) continue;
    const auto& [sum, count] = usual.at(each.text);
    order.emplace_back(each.score - sum / count, &each);
  }
  std::stable_sort(order.begin(), order.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  Candidate found{hypothesis.mechanism(), hypothesis.score(), {}, {}, 0, hypothesis.unexpected()};
  for (const auto& each : hypothesis.predictions()) found.worst = std::min(found.worst, each.score);
  for (std::size_t i = 0; i < order.size() && i < most_said; ++i) {
    if (order[i].first < worth_saying || order[i].second->score <= 0) break;
    found.evidence += (found.evidence.empty() ? "" : "; ") + order[i].second->text;
  }
  if (found.evidence.empty() && !order.empty()) found.evidence = order.front().second->text;
  if (!order.empty() && order.back().second->score < -1) {
    const auto& worst = *order.back().second;
    found.against = worst.text + (worst.expected.empty() ? "" : ", " + worst.expected);
  }
  return found;
}

}  // namespace

Judged judged(const Evidence& evidence, const Case& which, const Common* common) {
  if (which.incidents.empty()) return {};
  const auto facts = facts_of(evidence, which);
  auto all = hypotheses({evidence, which, facts});
  if (common != nullptr) expect_rules(all, {evidence, which, facts}, *common);
  return left_of(all);
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
  std::map<std::string, std::pair<double, int>> usual;
  for (const auto& [mechanism, hypothesis] : best) {
    for (const auto& each : hypothesis->predictions()) {
      auto& [sum, count] = usual[each.text];
      sum += each.score;
      ++count;
    }
  }
  Judged out;
  for (const auto& [mechanism, hypothesis] : best) {
    if (auto rejected = hypothesis->rejected()) {
      out.rejected.push_back(std::move(*rejected));
    } else if (hypothesis->score() >= worth_naming) {
      out.candidates.push_back(in_words(*hypothesis, usual));
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
