#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "study/words.h"
#include "view/explain_report.h"
#include "view/number_text.h"
#include "view/paragraph.h"

namespace hopbench {
namespace {

/// Puts the caution before the first advice that brings hands near a battery, and before no other.
class Caution {
 public:
  std::string before(std::size_t indent, const char* label, const Advice& advice) {
    if (said_ || !advice.near_battery) return {};
    said_ = true;
    return paragraph(indent, label, std::string(battery_caution()));
  }

 private:
  bool said_ = false;
};

/// One line for each fact, with all that it rejects.
std::string rejected_text(const std::vector<Rejected>& rejected) {
  std::vector<std::pair<std::string, std::vector<std::string>>> by_fact;
  for (const auto& each : rejected) {
    const auto found =
        std::find_if(by_fact.begin(), by_fact.end(), [&](const auto& one) { return one.first == each.fact; });
    auto& names =
        found != by_fact.end() ? found->second : by_fact.emplace_back(each.fact, std::vector<std::string>{}).second;
    names.push_back(words::spaced(name_of(each.mechanism)));
  }
  std::string out;
  for (const auto& [fact, names] : by_fact) {
    out += paragraph(4, "rejected ", fmt::format("{}: {}", words::list(names, "and"), fact));
  }
  return out;
}

std::string case_text(const CaseFinding& finding, std::size_t number, Caution& care) {
  std::string out = paragraph(0, fmt::format("{:<3} ", std::to_string(number) + "."), finding.title);
  if (!finding.symptoms.empty()) out += paragraph(4, "seen     ", finding.symptoms);
  out += paragraph(4, "spread   ", finding.spread);
  for (const auto& when : finding.when.found) {
    if (when.confounding != Confounding::borrowed) out += paragraph(4, "when     ", when.sentence);
  }
  const auto& together = finding.when.together;
  out += care.before(4, "caution  ", together);
  if (!together.text.empty()) out += paragraph(4, "together ", together.text);
  if (!finding.mixture.empty()) out += paragraph(4, "mixture  ", finding.mixture);
  for (const auto& sentence : finding.common) out += paragraph(4, "common   ", sentence);
  if (!finding.not_enough.empty()) out += paragraph(4, "note     ", finding.not_enough);
  out += paragraph(4, "verdict  ", finding.verdict);
  const auto& next = finding.next;
  for (std::size_t i = 1; !next.text.empty() && i < std::min<std::size_t>(finding.candidates.size(), 4); ++i) {
    const auto& candidate = finding.candidates[i];
    const auto name = words::spaced(name_of(candidate.mechanism));
    out += paragraph(4, i < finding.tied ? "as well  " : "less so  ",
                     fmt::format("{}: {}{}{}", name, candidate.evidence,
                                 candidate.against.empty() ? "" : "; against: ", candidate.against));
  }
  out += rejected_text(finding.rejected);
  out += care.before(4, "caution  ", next);
  if (!next.text.empty()) out += paragraph(4, "next     ", next.text);
  return out;
}

}  // namespace

std::string explain_text(const Explanation& explanation, const RunInfo& run, const CauseCounts* causes) {
  Caution care;
  std::string out = paragraph(0, "", fmt::format("{}, seed {}", run.scenario, run.seed));
  out += paragraph(0, "", explanation.headline);
  out += paragraph(0, "", explanation.vantage);
  out += "\nWhere\n";
  for (const auto& sentence : explanation.where.sentences) out += paragraph(2, "", sentence);
  for (const auto& hop : explanation.where.hops) out += paragraph(2, "", hop.sentence);
  const auto& tell_more = explanation.where.next;
  out += care.before(2, "Caution: ", tell_more);
  if (!tell_more.text.empty()) out += paragraph(2, "", tell_more.text);
  out += "\nWhen\n";
  for (const auto& when : explanation.when.found) {
    if (when.confounding != Confounding::borrowed || explanation.cases.size() != 1)
      out += paragraph(2, "", when.sentence);
  }
  const auto& together = explanation.when.together;
  out += care.before(2, "Caution: ", together);
  if (!together.text.empty()) out += paragraph(2, "", together.text);
  if (explanation.when.found.empty()) {
    const bool cases_differ =
        explanation.cases.size() > 1 || std::any_of(explanation.cases.begin(), explanation.cases.end(),
                                                    [](const CaseFinding& each) { return !each.when.found.empty(); });
    out += paragraph(2, "",
                     explanation.when.tested == 0 ? "No condition could be tested."
                     : !cases_differ
                         ? "Failures go with none of the conditions that could be tested."
                         : "All failures taken together go with none of the conditions that could be tested. Each case "
                           "below is looked at by itself.");
  }
  out += paragraph(2, "", explanation.when_note);
  if (!explanation.told_note.empty()) out += paragraph(2, "", explanation.told_note);
  out += "\nWhat it looks like\n";
  if (explanation.cases.empty()) out += paragraph(2, "", "Nothing failed.");
  for (std::size_t i = 0; i < explanation.cases.size(); ++i) out += case_text(explanation.cases[i], i + 1, care);
  if (!explanation.cautions.empty()) {
    out += "\nMind\n";
    for (const auto& caution : explanation.cautions) out += paragraph(2, "", caution);
  }
  if (causes != nullptr) {
    out += explanation.doubtful > 0 ? "\nWhat the simulation did (not used above; with the exchanges left out there)\n"
                                    : "\nWhat the simulation did (not used above)\n";
    bool any = false;
    for (std::size_t i = 0; i < causes->tries.size(); ++i) {
      if (causes->tries[i] == 0) continue;
      out += fmt::format("  {:>9}  {}\n", grouped(causes->tries[i]), words::spaced(name_of(static_cast<Cause>(i))));
      any = true;
    }
    if (!any) out += "  nothing that made a try fail\n";
  }
  return out;
}

}  // namespace hopbench
