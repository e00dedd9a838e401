#include "view/soak_sentences.h"

#include <fmt/format.h>

#include <algorithm>

#include "seen/symptom.h"
#include "study/words.h"
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
  const std::string what = counted_in_words(term, counted.trials);
  const auto cycles = report.soak.stretches().whole_cycles();
  const std::string over =
      cycles > 0 ? fmt::format("over {} ", hopbench::counted(cycles, "whole cycle")) : std::string();
  if (counted.trials == 0) return over + "nothing was counted";
  if (counted.hits == 0) {
    std::string text = fmt::format("{}none of {}", over, what);
    // One-sided: the exact form of the rule of three, of as many trials as they are worth.
    if (const auto most = effective_share(0, state.grounds.trials(), 0.9)) {
      text += fmt::format(" (with 95 % confidence at most {} %, if a burst has no more than {} on average)",
                          percent(most->high), static_cast<std::uint64_t>(state.grounds.together));
    }
    return text;
  }
  std::string text = fmt::format("{}{} of {}, {} %", over, grouped(counted.hits), what,
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
  const std::string bunch = requirement.bunch > 1
                                ? fmt::format(", if a burst has no more than {} on average", requirement.bunch)
                                : std::string(", if failures are independent");
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
    made.because = "counts after the decision contradict it";
    return made;
  }
  if (state.grounds.counted.hits == 0 && state.decided.decision != Ruling::rejected) {
    made.may_not = "This never happens.";
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
    made.may = fmt::format("{}, nothing was measured of the {}.", run_in_words(report), what);
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
  const std::string cells =
      state.unread ? fmt::format(" ({} on the run's clock)", unread_in_words(*state.unread)) : std::string();
  made.may =
      fmt::format("{}, the {} was {}{}{}, {} {}.", run_in_words(report), what, value, cells, bound, verdict, limit);
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
      return "arrived with a framing error";
    case Symptom::parity:
      return "arrived with a parity error";
    case Symptom::check:
      return "arrived with a CRC or checksum error";
    case Symptom::too_short:
      return "arrived too short";
    case Symptom::too_long:
      return "arrived too long";
    case Symptom::overrun:
      return "met an overrun";
    case Symptom::no_room:
      return "met a full buffer";
    case Symptom::nothing:
      return "did not arrive";
    default:
      return name_of(symptom);
  }
}

std::string_view outcome_in_words(Outcome outcome) {
  switch (outcome) {
    case Outcome::answered:
      return "got a good reply";
    case Outcome::late:
      return "got a reply after the time-out";
    case Outcome::garbled:
      return "got a damaged reply";
    case Outcome::mismatched:
      return "got a reply to another request";
    case Outcome::refused:
      return "got an error reply";
    case Outcome::stale:
      return "got values that were too old";
    case Outcome::wrong:
      return "got wrong values";
    case Outcome::lost:
      return "got no reply";
    case Outcome::truncated:
      return "got a reply without all values";
    case Outcome::bad_ask:
      return "began with a bad request";
    default:
      return name_of(outcome);
  }
}

std::string unread_in_words(const CellsUnread& cells) {
  const std::string which = cells.cells == 1 ? fmt::format("cell {}", cells.first_cell)
                                             : fmt::format("cells {} to {}", cells.first_cell,
                                                           std::uint64_t{cells.first_cell} + cells.cells - 1);
  return fmt::format("{}, {}, {}from {}", harmless(cells.node), which, cells.ever_read ? "" : "never read, ",
                     instant_text(cells.from));
}

std::string counted_in_words(const PropertyTerm& term, std::uint64_t trials) {
  const auto of_frames = [&](std::string_view became) {
    return fmt::format("{}{} {}", counted(trials, "frame"), where(term), became);
  };
  const std::string exchanges = counted(trials, "exchange") + where(term);
  switch (term.what) {
    case What::failed:
      return exchanges + " failed after all retries";
    case What::outcome:
      return fmt::format("{} {}", exchanges, outcome_in_words(static_cast<Outcome>(term.which)));
    case What::symptom:
      return of_frames(symptom_in_words(static_cast<Symptom>(term.which)));
    case What::undetected:
      return of_frames("arrived damaged, yet passed every check");
    default:
      return counted(trials, "case") + where(term);
  }
}

std::string limited_in_words(const PropertyTerm& term) {
  switch (term.what) {
    case What::asked:
      return "number of exchanges" + where(term);
    case What::failed:
      return fmt::format("number of exchanges{} that failed after all retries", where(term));
    case What::tries:
      return "number of tries" + where(term);
    case What::outcome:
      return fmt::format("number of exchanges{} that {}", where(term),
                         outcome_in_words(static_cast<Outcome>(term.which)));
    case What::symptom:
      return fmt::format("number of frames{} that {}", where(term), symptom_in_words(static_cast<Symptom>(term.which)));
    case What::round_trip:
      return term.parts_per_million == 1'000'000
                 ? "longest round trip" + where(term)
                 : fmt::format("{} % round trip{}", static_cast<double>(term.parts_per_million) / 1e4, where(term));
    case What::unseen:
      return term.scope == Scope::node
                 ? fmt::format("longest time without a reading of a cell of {}", harmless(term.name))
                 : "longest time without a reading";
    case What::bursts:
      return "number of failure bursts" + where(term);
    case What::longest_burst:
      return fmt::format("length in exchanges of the longest failure burst{}", where(term));
    case What::undetected:
      return fmt::format("number of frames{} that arrived damaged, yet passed every check", where(term));
    case What::cause:
      return fmt::format("number of tries that failed, cause: {}",
                         words::spaced(name_of(static_cast<Cause>(term.which))));
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
