#include "judge.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "claims.h"
#include "study/reproduce.h"

namespace hopbench::rates {
namespace {

constexpr std::size_t most_tied = 4;

bool contains(const std::vector<Mechanism>& list, Mechanism mechanism) {
  return std::find(list.begin(), list.end(), mechanism) != list.end();
}

/// Incidents of a case by mechanism, as the truth has it.
std::array<std::uint64_t, mechanism_count> shares_of(const CaseRun& run, const Evidence& evidence, const Case& which) {
  std::array<std::uint64_t, mechanism_count> counts{};
  for (const auto i : which.incidents) {
    if (const auto mechanism = mechanism_of(run.truth.why(evidence.incidents[i]).cause))
      ++counts[static_cast<std::size_t>(*mechanism)];
  }
  return counts;
}

/// "3,195 asleep, 525 burst".
std::string truth_of(const CaseRun& run, const Evidence& evidence, const Case& which) {
  std::map<Cause, std::uint64_t> counts;
  for (const auto i : which.incidents) ++counts[run.truth.why(evidence.incidents[i]).cause];
  std::string text;
  for (const auto& [cause, count] : counts)
    text += fmt::format("{}{} {}", text.empty() ? "" : ", ", count, name_of(cause));
  return text;
}

Verdict verdict_of(Mechanism mechanism, const CaseFinding& finding, std::uint64_t mine, std::uint64_t most, Eyes eyes) {
  const auto first = named_first(finding);
  if (finding.failures < enough_failures) return Verdict::little;
  const bool among = contains(first, mechanism);
  if (among && first.size() == 1) return Verdict::alone;
  if (among && (first.size() <= most_tied || eyes == Eyes::controller)) return Verdict::tied;
  if (!among && mine < most) return finding.mixture.empty() ? Verdict::merged : Verdict::mixed;
  return first.empty() ? Verdict::none : Verdict::wrong;
}

/// It may hang on cells being bled, by their heat, their current or what the processor has to do for them.
bool hangs_on_balancing(Mechanism mechanism) {
  using M = Mechanism;
  return mechanism == M::bleed_edges || mechanism == M::clock || mechanism == M::busy_node ||
         mechanism == M::measurement || mechanism == M::supply;
}

/// Why explain does not name it.
std::string rejection_of(Mechanism mechanism, const CaseFinding& finding) {
  for (const Rejected& each : finding.rejected) {
    if (each.mechanism == mechanism) return fmt::format(" rejected itself: {} (p {:.1g});", each.fact, each.p);
  }
  return {};
}

bool says_balancing(const Explanation& explanation) {
  return std::any_of(explanation.when.found.begin(), explanation.when.found.end(), [](const When& when) {
    return when.condition == Condition::balancing && when.confounding != Confounding::borrowed &&
           when.confounding != Confounding::cannot_tell;
  });
}

}  // namespace

std::string_view name_of(Verdict verdict) {
  constexpr std::array<std::string_view, verdict_count> names{"alone", "tied",   "wrong", "none",
                                                              "mixed", "merged", "little"};
  return names[static_cast<std::size_t>(verdict)];
}

std::vector<Mechanism> named_first(const CaseFinding& finding) {
  std::vector<Mechanism> first;
  for (std::size_t i = 0; i < finding.tied && i < finding.candidates.size(); ++i)
    first.push_back(finding.candidates[i].mechanism);
  return first;
}

std::string named_in(const CaseFinding& finding) {
  std::string text = finding.title + " (" + finding.symptoms + "; " + finding.spread + "):";
  if (!finding.mixture.empty()) text += " [" + finding.mixture + "]";
  if (finding.candidates.empty()) text += " like none of these";
  for (std::size_t i = 0; i < finding.candidates.size(); ++i) {
    const Candidate& each = finding.candidates[i];
    text += fmt::format(" {}{} {:.1f} ({}{}{});", i < finding.tied ? "" : "also ", name_of(each.mechanism), each.score,
                        each.evidence, each.against.empty() ? "" : " / against: ", each.against);
  }
  return text;
}

Explanation explanation_of(const CaseRun& run, Eyes eyes, Effort effort) {
  const Evidence& evidence = run.evidence(eyes);
  Reproduced reproduced;
  if (eyes == Eyes::controller && effort == Effort::simulated && evidence.failures > 0) {
    constexpr unsigned threads = 1;  // cases are judged at the same time as it is
    reproduced = reproduce_all(run.protocol, run.scenario.chain, plan_for(evidence, threads), [] { return false; }, {});
  }
  Exhibits kept = run.kept(eyes);
  kept.reproduced = &reproduced;
  return explain(evidence, Reality::simulated, run.counters ? &*run.counters : nullptr, kept);
}

CaseJudgement judge(const HiddenCase& hidden, const CaseRun& run, const Explanation& explanation, Eyes eyes) {
  const Evidence& evidence = run.evidence(eyes);
  CaseJudgement out;
  out.seed = hidden.seed;
  std::vector<std::array<std::uint64_t, mechanism_count>> shares;
  for (const CaseFinding& finding : explanation.cases) shares.push_back(shares_of(run, evidence, finding.which));
  std::vector<bool> judged(shares.size(), false);
  for (const Hidden& each : hidden.hidden) {
    // A kept case may be older than the chain that it is run on.
    if (run.truth.failures_of(each.mechanism) < enough_failures) continue;
    const auto at = static_cast<std::size_t>(each.mechanism);
    Judgement judgement{each.mechanism, each.name, Verdict::none, 0, 0, 0, "in no case that is told", {}};
    std::size_t best = shares.size();
    for (std::size_t i = 0; i < shares.size(); ++i) {
      if (shares[i][at] > judgement.mine) {
        judgement.mine = shares[i][at];
        best = i;
      }
    }
    if (best < shares.size()) {
      const CaseFinding& finding = explanation.cases[best];
      const auto most = *std::max_element(shares[best].begin(), shares[best].end());
      judgement.in_all = finding.which.incidents.size();
      judgement.verdict = verdict_of(each.mechanism, finding, judgement.mine, most, eyes);
      judgement.group = named_first(finding).size();
      judgement.named = named_in(finding) + rejection_of(each.mechanism, finding);
      judgement.truth = truth_of(run, evidence, finding.which);
      judged[best] = true;
    }
    out.hidden.push_back(std::move(judgement));
  }
  for (std::size_t i = 0; i < explanation.cases.size(); ++i) {
    const CaseFinding& finding = explanation.cases[i];
    const auto first = named_first(finding);
    if (judged[i] || finding.failures < enough_failures || first.empty()) continue;
    const bool there = std::any_of(hidden.hidden.begin(), hidden.hidden.end(),
                                   [&](const Hidden& each) { return contains(first, each.mechanism); });
    if (!there) out.innocent.push_back(truth_of(run, evidence, finding.which) + ": " + named_in(finding));
  }
  out.balancing_innocent = run.scenario.chain.controller.balancing.every > 0 &&
                           std::none_of(hidden.hidden.begin(), hidden.hidden.end(),
                                        [](const Hidden& each) { return hangs_on_balancing(each.mechanism); });
  out.balancing_accused = says_balancing(explanation);
  if (eyes == Eyes::controller) out.claims = claims_of(hidden, run, explanation);
  return out;
}

}  // namespace hopbench::rates
