#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>

#include "base/counted.h"
#include "judge/limits.h"
#include "study/burst_words.h"
#include "study/case_facts.h"
#include "study/controller_judge.h"
#include "study/explanation.h"
#include "study/next_step.h"
#include "study/parting.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::uint64_t enough = 50;  // failures from which on a case is judged without reserve
constexpr std::uint64_t least = 10;   // below this nothing is said of what it looks like
constexpr std::size_t most_cases = 8;
std::string symptoms_of(const Evidence& evidence, const Case& which) {
  std::array<std::uint64_t, symptom_count + 1> symptoms{};
  std::array<std::uint64_t, ending_count> endings{};
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    ++symptoms[place_of(incident.symptom)];
    ++endings[static_cast<std::size_t>(incident.ending)];
  }
  std::vector<std::string> parts;
  const auto put = [&](std::string_view name, std::uint64_t number) {
    if (number > 0) parts.push_back(words::spaced(name) + " " + words::of_failures(evidence, number));
  };
  if (which.family == Family::wire && evidence.sight != Sight::controller_only) {
    for (std::size_t i = 1; i < symptom_count; ++i) put(name_of(static_cast<Symptom>(i)), symptoms[i]);
    put("unknown", symptoms[symptom_count]);
  } else {
    for (std::size_t i = 0; i < ending_count; ++i) put(name_of(static_cast<Ending>(i)), endings[i]);
  }
  return words::list(parts);
}

std::string spread_of(const Evidence& evidence, const Case& which) {
  const auto hit = clusters_hit(evidence, which);
  const auto all = clusters_in_all(evidence);
  std::string text = is_sample(evidence) ? fmt::format("{} of the sample: in", words::count(which.incidents.size()))
                                         : std::string{"In"};
  text += clusters_are_cycles(evidence)
              ? fmt::format(" {} of {}", hit, counted(all, "charge cycle"))
              : fmt::format(" {} of {} of {}", hit, counted(all, "block"), words::span(evidence.block_span));
  if (evidence.sight == Sight::controller_only) return text + "; " + burst_sentence(evidence, which);
  const auto runs = runs_of(evidence, which);
  if (runs.longest <= 1) return text + ", each by itself";
  const auto several = runs.count - runs.alone;
  return text + fmt::format(", {}{} of two or more; at most {} failures{} in one run",
                            runs.alone == 0 ? "" : words::counted(runs.alone, "single failure") + " and ",
                            words::counted(several, "run"), words::count(runs.longest),
                            runs.longest_span > 0 ? " and " + words::span(runs.longest_span) : "");
}

CaseFinding finding_of(const Evidence& evidence, Reality reality, bool counters_told, CasePart part) {
  CaseFinding finding;
  auto& which = part.which;
  finding.failures = which.incidents.size() * evidence.one_incident_in;
  finding.title =
      fmt::format("{}: {} {}",
                  finding.failures == 1 ? std::string{"1 failed try"}
                                        : words::of_failures(evidence, which.incidents.size()) + " failed tries",
                  words::look(which.family), words::place(evidence, which));
  finding.symptoms = symptoms_of(evidence, which);
  finding.spread = spread_of(evidence, which);
  finding.when = whens_of(evidence, which);
  finding.held_up = held_up(evidence, which);
  const bool at_controller = evidence.sight == Sight::controller_only;
  finding.candidates = std::move(part.judged.candidates);
  finding.tied = part.judged.tied;
  finding.rejected = std::move(part.judged.rejected);
  if (!part.what.empty()) {
    finding.mixture =
        fmt::format("Two things happen here. These {}. The others at this place are a case of their own.", part.what);
  }
  finding.common_rules = std::move(part.common);
  finding.common = finding.common_rules.sentences;
  const std::string simulated = anything_simulated(reality) ? fmt::format(" ({})", in_short(reality)) : "";
  const std::uint64_t looked_at = which.incidents.size();
  if (looked_at < least) {
    finding.verdict = "Too few to say what it looks like.";
  } else if (finding.candidates.empty()) {
    finding.verdict = "Nothing that is known here looks like this" + simulated + ".";
  } else {
    std::vector<std::string> names;
    for (std::size_t i = 0; i < finding.tied; ++i) names.push_back(words::mechanism(finding.candidates[i].mechanism));
    const auto& first = finding.candidates.front();
    if (at_controller && finding.tied > 1) {
      finding.verdict =
          fmt::format("From the controller, these cannot be told apart{}: {}.", simulated, words::list(names));
    } else if (finding.tied == 1) {
      finding.verdict = fmt::format("Looks like {}{}: {}.", names.front(), simulated, first.evidence);
    } else {
      finding.verdict = fmt::format("Looks like {}{}, which cannot be told apart from what was seen: {}.",
                                    words::list(names, "or"), simulated, first.evidence);
    }
    if (!first.against.empty() && evidence.sight != Sight::controller_only) {
      finding.verdict += fmt::format(" Against it: {}.", first.against);
    }
  }
  if (looked_at < enough && is_sample(evidence)) {
    finding.not_enough = fmt::format(
        "Few data: {} in the sample; {} are enough. With a shorter span of the "
        "capture (hopbench capture cut) all of its failures are looked at.",
        counted(looked_at, "failure"), enough);
  } else if (looked_at < enough) {
    const double factor =
        static_cast<double>(enough) / static_cast<double>(std::max<std::uint64_t>(1, finding.failures));
    finding.not_enough = fmt::format("Few data: {}; {} are enough. At this rate {} of capture would do.",
                                     counted(finding.failures, "failure"), enough,
                                     words::long_span(static_cast<double>(evidence.until - evidence.from) * factor));
  }
  if (looked_at >= least && at_controller && finding.tied > 1) {
    finding.next = told_apart_by(evidence, counters_told);
  } else if (looked_at >= least) {
    finding.next = next_step(evidence, which, finding.candidates, finding.tied);
  }
  finding.which = std::move(which);
  return finding;
}

/// How old those conditions are that were read from the traffic, and which nobody told.
std::string told_note(const Evidence& evidence) {
  std::vector<std::string> aged;
  std::vector<std::string> missing;
  for (std::size_t i = 0; i < told_count; ++i) {
    auto& list = evidence.known[i].exchanges > 0 ? aged : missing;
    list.push_back(words::as_told(static_cast<Condition>(i), evidence.known[i], evidence.exchanges));
  }
  std::string text;
  if (!aged.empty()) text = fmt::format("Conditions as told in the traffic: {}.", words::list(aged));
  for (auto& each : missing) {
    each.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(each.front())));
    text += fmt::format("{}{}.", text.empty() ? "" : " ", each);
  }
  return text;
}

std::string vantage_sentence(const Evidence& evidence) {
  switch (evidence.sight) {
    case Sight::every_hop:
      return "Every hop was seen: where a frame died can be told.";
    case Sight::some_hops:
      return "Some hops were seen: for the others only what came out at their far ends can be told.";
    case Sight::controller_only:
      break;
  }
  return "Only the controller's own line was seen: on which hop a frame died cannot be told.";
}

/// What candidates were held against.
std::string held_against(const Reproduced* reproduced) {
  if (reproduced == nullptr || reproduced->runs == 0) {
    return " No mechanism was simulated: one is rejected only where it is impossible on any chain.";
  }
  return fmt::format(
      " Each mechanism was simulated on a healthy twin of this chain, in {} runs: one is rejected where none of its "
      "runs "
      "leaves what was seen.",
      reproduced->runs);
}

/// Conditions without a test, by the reason.
std::string untested_of(const Evidence& evidence, const Whens& when) {
  if (!evidence.rates_known()) return "No condition could be tested, since rates by condition are not known.";
  std::string text;
  for (const auto& [standing, reason] :
       {std::pair{Standing::never_other, "the same throughout"},
        std::pair{Standing::too_few, "too few failures to compare"}, std::pair{Standing::not_known, "not known"}}) {
    if (standing == Standing::not_known && evidence.as_told) continue;  // told by themselves, with the reason
    std::vector<std::string> names;
    for (const auto& each : when.looked_at) {
      if (each.standing == standing) names.emplace_back(phrase_of(each.condition));
    }
    if (!names.empty()) text += fmt::format("{}{} ({})", text.empty() ? "" : "; ", words::list(names), reason);
  }
  return text.empty() ? text : fmt::format("Not tested: {}.", text);
}

std::string headline_of(const Evidence& evidence, Reality reality) {
  const auto length = evidence.until - evidence.from;
  std::string text = fmt::format("{}: {} of {} failed", at_top(reality), words::count(evidence.failures),
                                 counted(evidence.tries, "try", "tries"));
  if (evidence.tries >= least_trials && evidence.failures <= evidence.tries) {
    const auto share = share_of(evidence.failures, evidence.tries);
    const auto high = words::share(share->high);
    text += evidence.failures == 0
                ? fmt::format(" (at most {})", high)
                : fmt::format(", {} (95 % interval {} to {})", words::share(share->value),
                              words::share(share->low).substr(0, words::share(share->low).size() - 2), high);
  }
  text += fmt::format(", in {}", words::counted(evidence.exchanges, "exchange"));
  return text + (length > 0 ? fmt::format(" over {}.", words::span(length)) : ".");
}

}  // namespace

Explanation explain(const Evidence& evidence, Reality reality, const std::vector<NodeCounters>* counters,
                    const Exhibits& kept) {
  Explanation out;
  out.reality = reality;
  out.sight = evidence.sight;
  out.headline = headline_of(evidence, reality);
  if (anything_simulated(reality)) out.cautions.emplace_back(caution_of(reality));
  out.vantage = vantage_sentence(evidence);
  if (evidence.sight == Sight::controller_only && evidence.failures > 0) out.vantage += held_against(kept.reproduced);
  out.rates = rates_of(evidence);
  const auto outstanding = standing_out(evidence);
  out.where = where_of(evidence, outstanding, counters);
  Case all;
  for (std::uint32_t i = 0; i < evidence.incidents.size(); ++i) all.incidents.push_back(i);
  out.when = whens_of(evidence, all);
  out.when_note =
      clusters_are_cycles(evidence)
          ? fmt::format("What counts as independent is a charge cycle; there were {}.", clusters_in_all(evidence))
          : fmt::format("What counts as independent is a block of {}; there were {}.", words::span(evidence.block_span),
                        clusters_in_all(evidence));
  const bool any_known =
      std::any_of(evidence.known.begin(), evidence.known.end(), [](const Known& each) { return each.exchanges > 0; });
  out.as_told = evidence.as_told;
  out.known = evidence.known;
  out.doubtful = evidence.doubtful;
  if (evidence.as_told) out.told_note = told_note(evidence);
  if (!any_known && !evidence.as_told)
    out.when_note += " The capture tells nothing of balancing, charge, temperature or supply.";
  if (out.when.tested > 1) out.when_note += fmt::format(" p is corrected for {} conditions (Holm).", out.when.tested);
  if (const auto untested = untested_of(evidence, out.when); !untested.empty()) out.when_note += " " + untested;
  auto cases = cases_of(evidence, outstanding);
  std::uint64_t left = 0;
  for (auto& each : cases) {
    if (out.cases.size() >= most_cases) {
      left += each.incidents.size();
      continue;
    }
    for (auto& part : parted(evidence, kept, std::move(each)))
      out.cases.push_back(finding_of(evidence, reality, told_already(counters), std::move(part)));
  }
  std::stable_sort(out.cases.begin(), out.cases.end(),
                   [](const CaseFinding& a, const CaseFinding& b) { return a.failures > b.failures; });
  // What the place says already needs no saying by distance or length.
  if (!out.cases.empty() && out.cases.front().which.placed && 2 * out.cases.front().failures > evidence.failures) {
    const auto of_nodes = [](const When& when) {
      return when.condition == Condition::distance || when.condition == Condition::length;
    };
    std::erase_if(out.when.found, of_nodes);
    std::erase_if(out.when.looked_at, of_nodes);
  }
  if (left > 0) {
    out.cautions.push_back(fmt::format("Of other kinds there {} {} failure{}, not told of.", left == 1 ? "is" : "are",
                                       words::of_failures(evidence, left), left == 1 ? "" : "s"));
  }
  if (evidence.tallied > 0) {
    out.cautions.push_back(
        fmt::format("{} exchanges have no record of their own (a thinned capture): they are in totals; {}.",
                    words::count(evidence.tallied),
                    evidence.rates_known()
                        ? "rates by condition take those that were kept for them"
                        : "no rate by condition can be told, nor what goes with one. Thin with --keep-one-in 20, or "
                          "so, to keep some healthy exchanges to compare with"));
  }
  if (evidence.doubtful > 0) out.cautions.push_back(words::left_out(evidence.doubtful));
  if (evidence.missing_spans > 0) {
    out.cautions.push_back(fmt::format("{} of the run {} not seen.", words::counted(evidence.missing_spans, "span"),
                                       evidence.missing_spans == 1 ? "was" : "were"));
  }
  if (is_sample(evidence)) {
    out.cautions.push_back(fmt::format(
        "One failure in {} was looked at: a sample of {}. Numbers of failures with \"about\" are scaled up from it.",
        evidence.one_incident_in, words::count(evidence.incidents.size())));
  }
  return out;
}

}  // namespace hopbench
