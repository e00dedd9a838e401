#include <fmt/format.h>

#include <algorithm>

#include "judge/independence.h"
#include "study/words.h"
#include "view/number_text.h"
#include "view/paragraph.h"
#include "view/port_notes.h"
#include "view/soak_report.h"
#include "view/soak_sentences.h"

namespace hopbench {
namespace {

using Text = fmt::memory_buffer;

template <class... Args>
void add(Text& text, fmt::format_string<Args...> form, Args&&... args) {
  fmt::format_to(fmt::appender(text), form, std::forward<Args>(args)...);
}

std::string_view capitals(Ruling decision) {
  switch (decision) {
    case Ruling::accepted:
      return "ACCEPTED";
    case Ruling::rejected:
      return "REJECTED";
    case Ruling::undecided:
      break;
  }
  return "UNDECIDED";
}

std::string_view end_in_words(const SoakReport& report, Ruling verdict) {
  switch (report.end) {
    case SoakEnd::interrupted:
      return "Interrupted; this is the verdict so far.";
    case SoakEnd::controller_ended:
      return "The controller's program ended before the run did; this is the verdict so far.";
    case SoakEnd::stuck:
      return "The chain is stuck at one instant (events without end); the run ended there.";
    case SoakEnd::decided:
      return "Ended as soon as it was decided; --full runs on.";
    case SoakEnd::span_over:
      return verdict == Ruling::undecided ? "The run was too short to decide; a longer one may." : "";
    case SoakEnd::still_running:
      break;
  }
  return "";
}

std::string decided_at(const SoakReport& report, const Decided& decided) {
  return decided.decision == Ruling::undecided ? std::string() : " after " + long_span(decided.at - report.start);
}

/// What does not count, and why; and what the computer's clock did.
void add_port(Text& text, const SoakReport& report) {
  const Coverage coverage = report.soak.coverage();
  const auto say = [&](const std::string& sentence) { add(text, "{}", paragraph(0, "", sentence)); };
  if (coverage.gaps > 0) {
    say(
        fmt::format("Nothing was tested for {}, in {}: the bench or its port was away, or the controller had not "
                    "asked yet. That time counts for nothing.",
                    long_span(coverage.gap_time), counted(coverage.gaps, "gap")));
  }
  if (const auto apart = report.soak.apart(); apart > 0) {
    say(
        fmt::format("{} fell into times when this computer was late at the port, so late that this may have decided "
                    "what came of {}. {} counted nowhere below.",
                    counted(apart, "exchange"), apart == 1 ? "it" : "them", apart == 1 ? "It is" : "They are"));
  }
  if (!report.port) return;
  const ClockCounts& clock = report.port->clock;
  if (clock.sets > 0) {
    say(fmt::format("The computer's clock was set {}, by {} {} in all. The times here are of a clock that nobody sets.",
                    times(clock.sets), long_span(clock.set_by < 0 ? -clock.set_by : clock.set_by),
                    clock.set_by < 0 ? "back" : "forward"));
  }
  if (clock.sleeps > 0) {
    say(fmt::format("The computer slept {}, for {} in all: the controller got no answers then.", times(clock.sleeps),
                    long_span(clock.slept)));
  }
  add(text, "{}", port_notes(report.port->lateness, 0));
}

std::string chance(double p) { return p < 0.0001 ? "p < 0.0001" : fmt::format("p = {:.2g}", p); }

/// Below the line with the decision.
std::string note(const std::string& sentence) { return paragraph(6, "", sentence); }

/// What stands behind a decision on a share.
void add_grounds(Text& text, const Soak& soak, const RequirementState& state, std::uint32_t bunch) {
  const Grounds& grounds = state.grounds;
  const bool cycles = soak.stretches().cycles();
  if (cycles) {
    const auto whole = soak.stretches().whole_cycles();
    add(text, "{}",
        note(fmt::format("Counted over {} of {}; at least {} are needed.", counted(whole, "whole cycle"),
                         long_span(soak.stretches().unit()), least_cycles)));
  }
  const std::string trials = grouped(grounds.counted.trials);
  const std::string worth = grouped(static_cast<std::uint64_t>(grounds.trials()));
  if (state.lasting) {
    const std::string length = long_span(soak.stretches().length());
    add(text, "{}",
        note(fmt::format("The failures go on: {} of {} in a row, up to now, had the rejectable share or more.",
                         counted(grounds.lasting, "period"), length)));
    return;
  }
  if (grounds.counted.hits == 0 && bunch > 1) {
    add(text, "{}",
        note(fmt::format("Without a failure nobody can tell whether failures come in bursts. Assumed: {} in a burst on "
                         "average, so {} count as {}.",
                         bunch, trials, worth)));
    return;
  }
  if (grounds.counted.hits < least_hits) {
    if (grounds.together > 1) {
      add(text, "{}",
          note(fmt::format(
              "Too few failures to test whether they are independent. They came in {}, so at most {:.3g} in "
              "a burst on average (95 % confidence); {} count as {}.",
              counted(grounds.counted.runs, "burst"), grounds.together, trials, worth)));
    }
    return;
  }
  if (!grounds.bunched) {
    add(text, "{}",
        note(fmt::format("Nothing speaks against independent failures (bursts: {}; evenness over time: {}).",
                         chance(grounds.few_runs), chance(grounds.uneven))));
    return;
  }
  const std::string why =
      grounds.few_runs <= grounds.uneven
          ? fmt::format("{} only ({})", counted(grounds.counted.runs, "burst"), chance(grounds.few_runs))
          : fmt::format("uneven over time ({})", chance(grounds.uneven));
  add(text, "{}",
      note(grounds.usable() ? fmt::format("Failures are not independent: {}. So {} count as {} independent ones.", why,
                                          trials, worth)
                            : fmt::format("Failures are not independent: {}. The run is too short to tell how many "
                                          "independent trials it is worth.",
                                          why)));
}

/// How much longer it takes to decide at the rate so far; none if nobody can tell.
std::optional<Nanos> outlook(const SoakReport& report, const Requirement& requirement, const RequirementState& state) {
  const auto& grounds = state.grounds;
  if (!requirement.term.share || state.decided.decision != Ruling::undecided || !grounds.usable() ||
      grounds.counted.trials == 0 || grounds.counted.hits > 0) {
    // From a few failures nobody can tell how it goes on.
    return std::nullopt;
  }
  const SequentialShare test(share_plan(requirement));
  const auto more = trials_to_decision(test, grounds.hits(), grounds.trials());
  if (!more) return std::nullopt;
  const double span = *more * static_cast<double>(report.now - report.start) / grounds.trials();
  if (span > 3e18) return std::nullopt;
  return static_cast<Nanos>(span);
}

void add_requirement(Text& text, const SoakReport& report, const Requirement& requirement,
                     const RequirementState& state) {
  add(text, "{:<10} {}{}\n", capitals(state.decided.decision), harmless(requirement.that),
      decided_at(report, state.decided));
  const PropertyTerm& term = requirement.term;
  if (!term.share) {
    if (state.figure) {
      const std::string cells = state.unread ? fmt::format(" ({})", unread_in_words(*state.unread)) : "";
      add(text, "{}",
          note(fmt::format("{}: {}{}, limit {}", limited_in_words(term), limit_value(term, *state.figure), cells,
                           limit_value(term, term.value))));
    } else {
      add(text, "{}", note(limited_in_words(term) + ": nothing was measured"));
    }
    if (state.decided.decision == Ruling::undecided)
      add(text, "      A limit is accepted only if it held to the end of the run.\n");
    return;
  }
  const auto& [hits, trials, runs] = state.grounds.counted;
  std::string found = fmt::format("{} of {}", hits == 0 ? "none" : grouped(hits), counted_in_words(term, trials));
  if (state.share && hits == 0) found += fmt::format(" (95 % interval up to {} %)", percent(state.share->high));
  if (state.share && hits > 0) {
    found += fmt::format(": {} % (95 % interval {} to {} %)",
                         percent(static_cast<double>(hits) / static_cast<double>(trials)), percent(state.share->low),
                         percent(state.share->high));
  }
  add(text, "{}", note(found));
  const SharePlan plan = share_plan(requirement);
  add(text,
      "      acceptable {} %, rejectable {} %; risk of rejecting a good chain {} %, of accepting a bad one {} %\n",
      percent(plan.acceptable), percent(plan.rejectable), percent(plan.reject_risk), percent(plan.accept_risk));
  add_grounds(text, report.soak, state, requirement.bunch);
  if (state.contradicted) add(text, "      Later counts contradict this decision: see the days below.\n");
  if (const auto more = outlook(report, requirement, state)) {
    add(text, "      About {} more decide it if nothing fails.\n", long_span(*more));
  }
}

void add_sentences(Text& text, const SoakReport& report, const std::vector<RequirementState>& states) {
  add(text, "\nWhat may be said, and what may not\n");
  const auto& requirements = report.soak.requirements();
  for (std::size_t i = 0; i < states.size(); ++i) {
    const auto said = sentences_on(report, requirements[i], states[i]);
    add(text, "{}", paragraph(2, "yes: ", fmt::format("\"{}\"", said.may)));
    add(text, "{}", paragraph(2, "no:  ", fmt::format("\"{}\" Because {}.", said.may_not, said.because)));
  }
  if (report.port) {
    add(text, "{}",
        paragraph(2, "",
                  "\"Answered\" means that the answer was sent to the controller's port in time. Only the controller "
                  "knows whether it took it."));
  }
}

std::string change_value(SoakTrend trend, double value) {
  switch (trend) {
    case SoakTrend::failures:
      return percent(value) + " %";
    case SoakTrend::round_trip_median:
    case SoakTrend::round_trip_longest:
    case SoakTrend::unseen:
      return long_span(static_cast<Nanos>(value));
    case SoakTrend::warmest:
      break;
  }
  return fmt::format("{:.1f} °C", value / 1000);
}

std::string_view trend_in_words(SoakTrend trend) {
  switch (trend) {
    case SoakTrend::failures:
      return "failed exchanges";
    case SoakTrend::round_trip_median:
      return "median round trip";
    case SoakTrend::round_trip_longest:
      return "longest round trip of a day";
    case SoakTrend::unseen:
      return "longest time without a reading in a day";
    case SoakTrend::warmest:
      break;
  }
  return "warmest board of a day";
}

void add_days(Text& text, const SoakReport& report) {
  const auto days = report.soak.days();
  if (days.size() < 2) return;
  constexpr std::size_t shown = 12;
  // Where nothing is modelled that warms a board, every day is the same.
  const bool warms = std::any_of(days.begin(), days.end(), [&](const SoakDay& each) {
    return each.warmest_mc && (each.warmest_mc != days.front().warmest_mc || each.coldest_mc != each.warmest_mc);
  });
  add(text, "\n{:>5}{:>13}{:>10}{:>11}{:>12}{:>12}{:>14}{}\n", "day", "exchanges", "failed", "failed %", "median ms",
      "longest ms", "no reading s", warms ? "  warmest" : "");
  const auto in_ms = [](const std::optional<Nanos>& span) {
    return span ? fmt::format("{:.2f}", static_cast<double>(*span) / 1e6) : std::string("-");
  };
  // Of many days as many as fit, evenly, and the last.
  const std::size_t step = (days.size() + shown - 1) / shown;
  for (std::size_t i = 0; i < days.size(); ++i) {
    if (i % step != 0 && i + 1 != days.size()) continue;
    const auto& day = days[i];
    add(text, "{:>5}{:>13}{:>10}{:>11}{:>12}{:>12}{:>14.1f}{}\n", i + 1, grouped(day.asked), grouped(day.failed),
        day.asked == 0 ? "-" : percent(static_cast<double>(day.failed) / static_cast<double>(day.asked)),
        in_ms(day.round_trip_median), in_ms(day.round_trip_longest), static_cast<double>(day.unseen) / 1e9,
        warms && day.warmest_mc ? fmt::format("{:>6.1f} °C", static_cast<double>(*day.warmest_mc) / 1000)
                                : std::string());
  }
  if (step > 1) add(text, "  1 day in {} is shown; --json has them all.\n", step);
  const auto changes = changes_in(report.soak.whole_days());
  for (const auto& change : changes) {
    add(text, "{}",
        paragraph(
            2, "",
            fmt::format("Change after day {}: {} went from {} to {} (means of the days before and after; p = "
                        "{:.2g}, Pettitt's test, corrected for all figures tested).",
                        change.first_after, trend_in_words(change.trend), change_value(change.trend, change.before),
                        change_value(change.trend, change.after), change.p)));
  }
  if (changes.empty() && report.soak.whole_days().size() >= 10)
    add(text, "  No lasting change from one day on was found.\n");
}

void add_outcomes(Text& text, const ExchangeMeasures& all) {
  if (all.asked == 0) return;
  const auto row = [&](const std::string& what, std::uint64_t count) {
    if (count == 0) return;
    add(text, "  {:<16}{:>13}{:>11}\n", what, grouped(count),
        percent(static_cast<double>(count) / static_cast<double>(all.asked)));
  };
  add(text, "\n  {:<16}{:>13}{:>11}\n", "outcome", "exchanges", "%");
  for (std::size_t i = 0; i < outcome_count; ++i) row(words::spaced(name_of(static_cast<Outcome>(i))), all.outcomes[i]);
  row("unknown", all.unknown_outcomes());
}

/// Of a run too short for days.
void add_first_hours(Text& text, const SoakReport& report) {
  if (report.now - report.start <= 3600 * second || report.soak.days().size() > 1) return;
  const SoakHours hours = report.soak.hours();
  add(text, "\n{:>5}{:>13}{:>10}{:>11}\n", "hour", "exchanges", "failed", "failed %");
  for (std::size_t i = 0; i < hours.size(); ++i) {
    if (hours[i].asked == 0) continue;
    add(text, "{:>5}{:>13}{:>10}{:>11}\n", i + 1, grouped(hours[i].asked), grouped(hours[i].failed),
        percent(static_cast<double>(hours[i].failed) / static_cast<double>(hours[i].asked)));
  }
}

void add_hours(Text& text, const SoakReport& report) {
  const SoakHours hours = report.soak.hours();
  double most = 0;
  for (const auto& hour : hours) {
    if (hour.asked > 0) most = std::max(most, static_cast<double>(hour.failed) / static_cast<double>(hour.asked));
  }
  if (most <= 0 || report.soak.whole_days().size() < 2) return;
  std::vector<Counted> counted;
  for (const auto& hour : hours) {
    counted.push_back({static_cast<double>(hour.failed), static_cast<double>(hour.asked)});
  }
  const double uneven = dispersion_of(counted, 1).p;
  if (uneven >= 0.01) {
    add(text, "  No difference between the hours of the day was found ({}).\n", chance(uneven));
    return;
  }
  add(text, "\nFailed exchanges by hour of the day (the run's time)\n");
  for (std::size_t i = 0; i < hours.size(); ++i) {
    if (hours[i].asked == 0) continue;
    const double share = static_cast<double>(hours[i].failed) / static_cast<double>(hours[i].asked);
    const auto bar = static_cast<std::size_t>(share / most * 40 + 0.5);
    add(text, "  {:02}-{:02} {:>12} of {:>13} {:>11} %{}{}\n", i, i + 1, grouped(hours[i].failed),
        grouped(hours[i].asked), percent(share), bar > 0 ? "  " : "", std::string(bar, '#'));
  }
}

}  // namespace

std::string soak_text(const SoakReport& report) {
  Text text;
  const Soak& soak = report.soak;
  const auto measures = soak.measures();
  const auto states = soak.states();
  const Ruling verdict = verdict_of(states);
  add(text, "{}: soak of {}, random seed {}. {} of {}, {}.\n", at_top(report.reality), harmless(report.scenario),
      report.seed, long_span(report.now - report.start), long_span(report.until - report.start),
      counted(measures.all.asked, "exchange"));
  if (report.resumed > 0) add(text, "Resumed {}.\n", counted(report.resumed, "time"));
  if (const auto end = end_in_words(report, verdict); !end.empty()) add(text, "{}\n", end);
  add_port(text, report);
  add(text, "\nVerdict: {}\n\n", capitals(verdict));
  for (std::size_t i = 0; i < states.size(); ++i) add_requirement(text, report, soak.requirements()[i], states[i]);
  add_sentences(text, report, states);
  add_outcomes(text, measures.all);
  add_first_hours(text, report);
  add_days(text, report);
  add_hours(text, report);
  if (report.detail_removed > 0) {
    add(text, "\nRemoved to keep within --at-most: {}, the oldest. Every exchange is counted all the same.\n",
        counted(report.detail_removed, "file with details", "files with details"));
  }
  if (report.detail_lost > 0) {
    add(text, "\n{} of failures could not be written to the disk; all exchanges are counted.\n",
        counted(report.detail_lost, "record"));
  }
  if (const auto caution = caution_of(report.reality); !caution.empty()) add(text, "\n{}\n", caution);
  return fmt::to_string(text);
}

std::string soak_progress(const SoakReport& report) {
  const auto measures = report.soak.measures();
  const auto failed = measures.all.asked - measures.all[Outcome::answered];
  std::string line =
      fmt::format("{} of {}, {}, {} failed", long_span(report.now - report.start),
                  long_span(report.until - report.start), counted(measures.all.asked, "exchange"), grouped(failed));
  if (const auto share = share_of(failed, measures.all.asked)) {
    line += fmt::format(" ({} to {} %)", percent(share->low), percent(share->high));
  }
  if (report.wall_elapsed && *report.wall_elapsed > 0 && report.now > report.start) {
    const double speed = static_cast<double>(report.now - report.start) / static_cast<double>(*report.wall_elapsed);
    const double left = static_cast<double>(report.until - report.now) / speed;
    if (left < 3e18) line += fmt::format(", {} to the end", long_span(static_cast<Nanos>(left)));
  }
  std::optional<Nanos> longest;
  const auto states = report.soak.states();
  for (std::size_t i = 0; i < states.size(); ++i) {
    const auto more = outlook(report, report.soak.requirements()[i], states[i]);
    if (more && (!longest || *more > *longest)) longest = more;
  }
  if (longest) line += fmt::format(", verdict after about {} more if nothing fails", long_span(*longest));
  return line;
}

}  // namespace hopbench
