#include "foreign_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>

#include "habits.h"
#include "judge.h"
#include "work/workers.h"

namespace hopbench::rates {
namespace {

/// Of each group one word stands there.
bool says(const std::string& sentence, const std::vector<std::vector<std::string>>& must) {
  return std::all_of(must.begin(), must.end(), [&](const std::vector<std::string>& words) {
    return std::any_of(words.begin(), words.end(),
                       [&](const std::string& word) { return sentence.find(word) != std::string::npos; });
  });
}

}  // namespace

ForeignJudgement judged_foreign(std::uint64_t seed) {
  const ForeignCase made = foreign_case(seed);
  ForeignJudgement out{seed, made.fault.name, made.fault.rule, 0, 0, false, false, {}};
  const Scenario scenario = loaded(made.text);
  const Protocol protocol(scenario.bus);
  std::unique_ptr<ForeignPost> post;
  const auto run = run_case(made.text, false, [&](Sink& to) -> Sink& {
    post = std::make_unique<ForeignPost>(protocol, made.fault, scenario.chain.controller.time_out, to);
    return *post;
  });
  out.struck = post->struck();
  const auto explanation = explanation_of(*run, Eyes::every_hop, Effort::quick);
  if (explanation.cases.empty()) return out;
  const CaseFinding& finding = explanation.cases.front();
  out.failures = finding.failures;
  out.named = finding.tied == 1 && !finding.candidates.empty();
  out.rule_said = !finding.common.empty() && says(finding.common.front(), made.fault.must_say);
  out.said = named_in(finding) + " In common:";
  for (const auto& sentence : finding.common) out.said += " " + sentence;
  return out;
}

std::vector<ForeignJudgement> judged_foreign(std::uint64_t from, std::uint64_t each, unsigned threads) {
  std::vector<ForeignJudgement> out(each * foreign_count);
  Workers workers(threads);
  workers.each(
      out.size(),
      [&](std::size_t index, const StopAsked&) {
        try {
          out[index] = judged_foreign(from + index);
        } catch (const std::exception& error) {
          out[index].seed = from + index;
          out[index].name = "trouble";
          out[index].said = error.what();
        }
      },
      [] { return false; });
  return out;
}

std::string foreign_table(const std::vector<ForeignJudgement>& all) {
  struct Row {
    std::uint64_t named = 0;
    std::uint64_t said = 0;
    std::uint64_t all = 0;
  };
  std::vector<std::pair<std::string, Row>> rows;
  for (const ForeignJudgement& each : all) {
    auto found = std::find_if(rows.begin(), rows.end(), [&](const auto& row) { return row.first == each.name; });
    if (found == rows.end()) found = rows.insert(rows.end(), {each.name, {}});
    ++found->second.all;
    if (each.named) ++found->second.named;
    if (each.rule_said) ++found->second.said;
  }
  std::string text =
      "| fault that no scenario can say | one mechanism named | rule said first | of |\n| --- | --- | --- | --- |\n";
  Row sum;
  for (const auto& [name, row] : rows) {
    text += fmt::format("| {} | {} | {} | {} |\n", name, row.named, row.said, row.all);
    sum = {sum.named + row.named, sum.said + row.said, sum.all + row.all};
  }
  return text + fmt::format("| all | {} | {} | {} |\n", sum.named, sum.said, sum.all);
}

std::string foreign_list(const std::vector<ForeignJudgement>& all) {
  std::string text;
  for (const ForeignJudgement& each : all) {
    if (!each.named && each.rule_said) continue;
    text += fmt::format("seed {}: {}: {}; struck {}\n  {}{}{}\n", each.seed, each.name, each.rule, each.struck,
                        each.named ? "named; " : "", each.rule_said ? "" : "rule not said; ", each.said);
  }
  return text;
}

}  // namespace hopbench::rates
