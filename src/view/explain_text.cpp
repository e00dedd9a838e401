#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "study/words.h"
#include "view/explain_report.h"
#include "view/number_text.h"
#include "view/paragraph.h"
#include "view/short_names.h"

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

/// Which stations held late answers up, and for how long they have frames inside.
std::string held_up_text(const std::vector<HeldUp>& rows) {
  if (rows.empty()) return {};
  const auto put = [](const char* label, const std::string& where, const std::string& late, const std::string& frames,
                      const std::string& median, const std::string& most, const std::string& longest) {
    return fmt::format("    {:<9}{:<22} {:>6} {:>11} {:>8} {:>8} {:>8}\n", label, where, late, frames, median, most,
                       longest);
  };
  std::string out = put("held up", "time inside", "late", "frames", "median", "99 %", "longest");
  constexpr std::size_t name_width = 10;
  std::vector<std::string> names;
  for (const auto& row : rows) names.push_back(row.station);
  names = short_names(names, name_width);
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const auto& row = rows[i];
    out += put("", names[i] + (row.answering ? ", answering" : ", passing on"), grouped(row.late), grouped(row.frames),
               short_span(row.median), short_span(row.most), short_span(row.longest));
  }
  return out;
}

/// What failures of this kind go with, and what they may go with: too little is proven to leave that out.
std::string when_text(const Whens& whens) {
  constexpr double worth_saying = 0.05;
  constexpr int most_said = 2;
  std::string out;
  int said = 0;
  for (const auto& when : whens.looked_at) {
    const bool hint = when.standing == Standing::not_proven && when.trend.p < worth_saying && when.trend.t > 0;
    const bool found = when.standing == Standing::proven || when.standing == Standing::not_apart;
    if (found || (hint && said++ < most_said)) out += paragraph(4, "when     ", when.sentence);
  }
  return out;
}

std::string case_text(const CaseFinding& finding, std::size_t number, Caution& care) {
  std::string out = paragraph(0, fmt::format("{:<3} ", std::to_string(number) + "."), finding.title);
  if (!finding.symptoms.empty()) out += paragraph(4, "seen     ", finding.symptoms);
  out += paragraph(4, "spread   ", finding.spread);
  out += held_up_text(finding.held_up);
  out += when_text(finding.when);
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
    out +=
        paragraph(4, "also     ",
                  fmt::format("{} likely: {}. For: {}.{}", i < finding.tied ? "as" : "less", name, candidate.evidence,
                              candidate.against.empty() ? "" : fmt::format(" Against: {}.", candidate.against)));
  }
  out += rejected_text(finding.rejected);
  out += care.before(4, "caution  ", next);
  if (!next.text.empty()) out += paragraph(4, "next     ", next.text);
  return out;
}

}  // namespace

std::string explain_text(const Explanation& explanation, const RunInfo& run, const CauseCounts* causes, Bars bars) {
  Caution care;
  std::string out = paragraph(0, "", fmt::format("{}, seed {}", run.scenario, run.seed));
  out += paragraph(0, "", explanation.headline);
  out += paragraph(0, "", explanation.vantage);
  out += "\n" + rates_text(explanation.rates, bars);
  out += "\nWhere\n";
  for (const auto& sentence : explanation.where.sentences) out += paragraph(2, "", sentence);
  for (const auto& hop : explanation.where.hops) out += paragraph(2, "", hop.sentence);
  const auto& tell_more = explanation.where.next;
  out += care.before(2, "Caution: ", tell_more);
  if (!tell_more.text.empty()) out += paragraph(2, "", tell_more.text);
  out += "\nConditions\n";
  if (explanation.cases.size() > 1)
    out += paragraph(2, "", "All failures together. Each kind is looked at by itself below.");
  for (const auto& when : explanation.when.looked_at) {
    if (!when.sentence.empty()) out += paragraph(2, "", when.sentence);
  }
  const auto& together = explanation.when.together;
  out += care.before(2, "Caution: ", together);
  if (!together.text.empty()) out += paragraph(2, "", together.text);
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
