#include "view/soak_sentences.h"

#include <fmt/format.h>

#include <algorithm>

#include "seen/symptom.h"
#include "view/number_text.h"

namespace hopbench {
namespace {

using What = PropertyTerm::What;
using Scope = PropertyTerm::Scope;

std::string where(const PropertyTerm& term) {
  switch (term.scope) {
    case Scope::node:
      return " with " + harmless(term.name);
    case Scope::hop:
      return fmt::format(" on hop {}", term.hop);
    case Scope::into:
      return " into " + harmless(term.name);
    case Scope::topic:
      return " for " + harmless(term.name);
    case Scope::all:
      break;
  }
  return {};
}

/// "In a simulated run of 80.0 d (random seed 1)".
std::string run_in_words(const SoakReport& report) {
  std::string length = long_span(report.now - report.start);
  if (const auto untested = report.soak.coverage().gap_time; untested > 0)
    length += fmt::format(" ({} of it untested)", long_span(untested));
  switch (report.reality) {
    case Reality::simulated:
      return fmt::format("In a simulated run of {} (random seed {})", length, report.seed);
    case Reality::simulated_chain:
      return fmt::format("In a run of {} with the real controller on a simulated chain (random seed {})", length,
                         report.seed);
    case Reality::real_chain:
      break;
  }
  return fmt::format("In a run of {} on the real chain", length);
}

std::string interval(const SoakReport& report, const Share& share) {
  // That of a run of fixed length: one that stopped itself stopped where its figures were in favour of its verdict.
  return fmt::format("{}95 % confidence interval {} to {} %", report.end == SoakEnd::decided ? "approximate " : "",
                     percent(share.low), percent(share.high));
}

std::string risk_of(Ppq risk) { return percent(static_cast<double>(risk) / static_cast<double>(certain)); }

/// "over 20 whole cycles 12 of 5,000,000 exchanges failed, 0.00024 % (95 % ...)".
std::string share_in_words(const SoakReport& report, const PropertyTerm& term, const RequirementState& state) {
  const auto& counted = state.grounds.counted;
  const std::string what = counted_in_words(term);
  const auto cycles = report.soak.stretches().whole_cycles();
  const std::string over = cycles > 0 ? fmt::format("over {} whole cycles ", grouped(cycles)) : std::string();
  if (counted.trials == 0) return fmt::format("{}nothing was counted ({})", over, what);
  if (counted.hits == 0) {
    std::string text = fmt::format("{}none of {} {}", over, grouped(counted.trials), what);
    // One-sided: the exact form of the rule of three, of as many trials as they are worth.
    if (const auto most = effective_share(0, state.grounds.trials(), 0.9)) {
      text += fmt::format(" (with 95 % confidence at most {} %, if no more than {} come together on average)",
                          percent(most->high), static_cast<std::uint64_t>(state.grounds.together));
    }
    return text;
  }
  std::string text = fmt::format("{}{} of {} {}, {} %", over, grouped(counted.hits), grouped(counted.trials), what,
                                 percent(static_cast<double>(counted.hits) / static_cast<double>(counted.trials)));
  if (state.share) text += fmt::format(" ({})", interval(report, *state.share));
  return text;
}

/// "after 29.8 h (340 of 77,000)".
std::string when_decided(const SoakReport& report, const Decided& decided) {
  return fmt::format("after {} ({} of {})", long_span(decided.at - report.start), grouped(decided.counted.hits),
                     grouped(decided.counted.trials));
}

SoakSentences on_share(const SoakReport& report, const Requirement& requirement, const RequirementState& state) {
  const SharePlan plan = share_plan(requirement);
  const std::string good = percent(plan.acceptable) + " %";
  const std::string bad = percent(plan.rejectable) + " %";
  const std::string found =
      fmt::format("{}, {}.", run_in_words(report), share_in_words(report, requirement.term, state));
  const std::string when = when_decided(report, state.decided);
  const std::string bunch =
      requirement.bunch > 1 ? fmt::format(", as long as no more than {} come together on average", requirement.bunch)
                            : std::string(", as long as they are independent");
  SoakSentences made;
  switch (state.decided.decision) {
    case Ruling::accepted:
      made.may =
          fmt::format("{} A sequential test accepted this {}: a share of {} or more passes about {} % of such tests{}.",
                      found, when, bad, risk_of(requirement.accept_risk), bunch);
      break;
    case Ruling::rejected:
      made.may = plan.acceptable > 0
                     ? fmt::format(
                           "{} A sequential test rejected this {}: a share of {} or less fails about {} % of such "
                           "tests{}.",
                           found, when, good, risk_of(requirement.reject_risk), bunch)
                     : fmt::format("{} None is acceptable, so this was rejected {}.", found, when);
      break;
    case Ruling::undecided:
      made.may = fmt::format("{} This is too little to decide whether the share is below {} or not.", found, bad);
      break;
  }
  if (state.contradicted) {
    made.may_not =
        fmt::format("The share was {} {} all the time.", state.decided.decision == Ruling::accepted ? "below" : "above",
                    state.decided.decision == Ruling::accepted ? bad : good);
    made.because = "what was counted after the decision speaks against it";
    return made;
  }
  if (state.grounds.counted.hits == 0 && state.decided.decision != Ruling::rejected) {
    made.may_not = fmt::format("It never happens that {}.", counted_in_words(requirement.term));
    made.because = "none was seen, which only says that they are rare";
    return made;
  }
  if (state.decided.decision == Ruling::undecided) {
    made.may_not = "The test was passed, or failed.";
    made.because = "it did not run long enough for either";
  } else if (report.reality == Reality::real_chain) {
    made.may_not = "Every chain of this kind behaves like this.";
    made.because = "one chain was tested, with its own wiring, loads and temperatures";
  } else {
    made.may_not = fmt::format("The chain on site stays {} {}.",
                               state.decided.decision == Ruling::accepted ? "below" : "above", bad);
    made.because = "the nodes and hops were simulated: what the scenario does not state was not tried";
  }
  return made;
}

/// In so many digits that it differs from the limit, if it does.
std::string value_beside(const PropertyTerm& term, std::uint64_t value) {
  std::string text = limit_value(term, value);
  if (value == term.value || text != limit_value(term, term.value)) return text;
  return fmt::format("{:.6f} s", static_cast<double>(value) / static_cast<double>(second));
}

SoakSentences on_limit(const SoakReport& report, const Requirement& requirement, const RequirementState& state) {
  const PropertyTerm& term = requirement.term;
  const std::string what = limited_in_words(term);
  const std::string limit = limit_value(term, term.value);
  SoakSentences made;
  if (!state.figure) {
    made.may = fmt::format("{}, there was nothing to compare: {}.", run_in_words(report), what);
    made.may_not = "The limit was kept.";
    made.because = "nothing was measured";
    return made;
  }
  const std::string value = value_beside(term, *state.figure);
  std::string bound;
  if (*state.figure == 0 && state.of > 0 && term.what != What::unseen && term.what != What::round_trip) {
    const auto most = share_of(std::uint64_t{0}, state.of, 0.9);
    if (most)
      bound = fmt::format(" among {} (with 95 % confidence at most {} %, if they come one by one)", grouped(state.of),
                          percent(most->high));
  }
  const char* verdict = state.decided.decision == Ruling::rejected   ? "which is more than"
                        : state.decided.decision == Ruling::accepted ? "within the limit of"
                        : *state.figure > term.value                 ? "which is more than"
                                                                     : "so far within the limit of";
  made.may = fmt::format("{}, the {} was {}{}, {} {}.", run_in_words(report), what, value, bound, verdict, limit);
  if (state.decided.decision == Ruling::rejected) {
    made.may_not = "It is that bad every day in service.";
    made.because = "a limit says whether it was passed, not how often";
  } else {
    made.may_not = fmt::format("It can never be more than {}.", limit);
    made.because = "a longer run may show a larger one";
  }
  return made;
}

}  // namespace

std::string_view symptom_in_words(Symptom symptom) {
  switch (symptom) {
    case Symptom::framing:
      return "a framing error";
    case Symptom::parity:
      return "a parity error";
    case Symptom::check:
      return "a wrong check";
    case Symptom::too_short:
      return "too few characters";
    case Symptom::too_long:
      return "too many characters";
    case Symptom::overrun:
      return "an overrun";
    case Symptom::no_room:
      return "no room left for them";
    case Symptom::nothing:
      return "nothing that could be heard";
    default:
      return name_of(symptom);
  }
}

std::string counted_in_words(const PropertyTerm& term) {
  switch (term.what) {
    case What::failed:
      return fmt::format("exchanges{} failed after their retries", where(term));
    case What::outcome:
      return fmt::format("exchanges{} were {}", where(term), name_of(static_cast<Outcome>(term.which)));
    case What::symptom:
      return fmt::format("good frames{} came with {}", where(term), symptom_in_words(static_cast<Symptom>(term.which)));
    case What::undetected:
      return fmt::format("good frames{} were damaged and passed every check", where(term));
    default:
      return "cases counted" + where(term);
  }
}

std::string limited_in_words(const PropertyTerm& term) {
  switch (term.what) {
    case What::asked:
      return "number of exchanges" + where(term);
    case What::failed:
      return fmt::format("number of exchanges{} that failed after their retries", where(term));
    case What::tries:
      return "number of tries" + where(term);
    case What::outcome:
      return fmt::format("number of exchanges{} that ended as {}", where(term),
                         name_of(static_cast<Outcome>(term.which)));
    case What::symptom:
      return fmt::format("number of good frames{} that ended as {}", where(term),
                         symptom_in_words(static_cast<Symptom>(term.which)));
    case What::round_trip:
      return term.parts_per_million == 1'000'000
                 ? "longest round trip" + where(term)
                 : fmt::format("{} % round trip{}", static_cast<double>(term.parts_per_million) / 1e4, where(term));
    case What::unseen:
      return term.scope == Scope::node
                 ? fmt::format("longest time without a reading of a cell of {}", harmless(term.name))
                 : "longest time without a reading of some cell";
    case What::bursts:
      return "number of failure bursts" + where(term);
    case What::longest_burst:
      return fmt::format("length in exchanges of the longest failure burst{}", where(term));
    case What::undetected:
      return fmt::format("number of good frames{} that were damaged and passed every check", where(term));
    case What::cause:
      return fmt::format("number of tries that failed by {}", name_of(static_cast<Cause>(term.which)));
  }
  return "figure";
}

std::string limit_value(const PropertyTerm& term, std::uint64_t value) {
  if (term.what != What::unseen && term.what != What::round_trip) return grouped(value);
  return long_span(static_cast<Nanos>(std::min(value, static_cast<std::uint64_t>(never))));
}

SoakSentences sentences_on(const SoakReport& report, const Requirement& requirement, const RequirementState& state) {
  return requirement.term.share ? on_share(report, requirement, state) : on_limit(report, requirement, state);
}

}  // namespace hopbench
