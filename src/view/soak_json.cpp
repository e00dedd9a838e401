#include <boost/json/array.hpp>
#include <boost/json/object.hpp>

#include "view/json_text.h"
#include "view/soak_report.h"
#include "view/soak_sentences.h"

namespace hopbench {
namespace {

namespace json = boost::json;

std::string_view word(Ruling decision) {
  switch (decision) {
    case Ruling::accepted:
      return "accepted";
    case Ruling::rejected:
      return "rejected";
    case Ruling::undecided:
      break;
  }
  return "undecided";
}

std::string_view word(SoakEnd end) {
  switch (end) {
    case SoakEnd::span_over:
      return "span_over";
    case SoakEnd::decided:
      return "decided";
    case SoakEnd::interrupted:
      return "interrupted";
    case SoakEnd::controller_ended:
      return "controller_ended";
    case SoakEnd::stuck:
      return "stuck";
    case SoakEnd::still_running:
      break;
  }
  return "still_running";
}

std::string_view word(SoakTrend trend) {
  switch (trend) {
    case SoakTrend::failures:
      return "failed_share";
    case SoakTrend::round_trip_median:
      return "round_trip_median_ns";
    case SoakTrend::round_trip_longest:
      return "round_trip_longest_ns";
    case SoakTrend::unseen:
      return "unseen_ns";
    case SoakTrend::warmest:
      break;
  }
  return "warmest_mc";
}

template <class T>
json::value maybe(const std::optional<T>& value) {
  return value ? json::value(*value) : json::value(nullptr);
}

json::object json_of(const CellsUnread& cells) {
  return {{"node", cells.node},           {"first_cell", cells.first_cell}, {"cells", cells.cells},
          {"ever_seen", cells.ever_read}, {"span_ns", cells.span},          {"from_ns", cells.from}};
}

json::object json_of(const SoakReport& report, const Requirement& requirement, const RequirementState& state) {
  json::object object;
  object["that"] = requirement.that;
  object["decision"] = word(state.decided.decision);
  object["decided_at_ns"] =
      state.decided.decision == Ruling::undecided ? json::value(nullptr) : json::value(state.decided.at);
  if (requirement.term.share) {
    const SharePlan plan = share_plan(requirement);
    object["acceptable"] = rounded(plan.acceptable);
    object["rejectable"] = rounded(plan.rejectable);
    object["reject_risk"] = rounded(plan.reject_risk);
    object["accept_risk"] = rounded(plan.accept_risk);
    object["hits"] = state.grounds.counted.hits;
    object["trials"] = state.grounds.counted.trials;
    object["bursts"] = state.grounds.counted.runs;
    object["bunch_assumed"] = requirement.bunch;
    object["together_at_most"] = rounded(state.grounds.together);
    object["bunched"] = state.grounds.bunched;
    object["p_bursts"] = rounded(state.grounds.few_runs);
    object["p_evenness"] = rounded(state.grounds.uneven);
    object["trials_worth"] =
        state.grounds.usable() ? json::value(rounded(state.grounds.trials())) : json::value(nullptr);
    object["low"] = state.share ? json::value(rounded(state.share->low)) : json::value(nullptr);
    object["high"] = state.share ? json::value(rounded(state.share->high)) : json::value(nullptr);
    object["contradicted"] = state.contradicted;
    object["hits_then"] = state.decided.counted.hits;
    object["trials_then"] = state.decided.counted.trials;
  } else {
    object["limit"] = requirement.term.value;
    object["figure"] = maybe(state.figure);
    if (requirement.term.what == PropertyTerm::What::unseen) {
      object["unseen"] = state.unread ? json::value(json_of(*state.unread)) : json::value(nullptr);
    }
  }
  const auto said = sentences_on(report, requirement, state);
  object["may_say"] = said.may;
  object["may_not_say"] = said.may_not;
  object["because"] = said.because;
  return object;
}

json::object json_of(const SoakDay& day) {
  json::object object;
  object["from_ns"] = day.from;
  object["asked"] = day.asked;
  object["failed"] = day.failed;
  object["round_trip_median_ns"] = maybe(day.round_trip_median);
  object["round_trip_longest_ns"] = maybe(day.round_trip_longest);
  object["unseen_ns"] = day.unseen;
  object["coldest_mc"] = maybe(day.coldest_mc);
  object["warmest_mc"] = maybe(day.warmest_mc);
  return object;
}

json::object json_of(const SoakReport::Port& port) {
  json::object object;
  object["clock_sets"] = port.clock.sets;
  object["clock_set_by_ns"] = port.clock.set_by;
  object["sleeps"] = port.clock.sleeps;
  object["slept_ns"] = port.clock.slept;
  object["sends"] = port.lateness.sends;
  object["late_worst_ns"] = port.lateness.worst;
  object["late_in_all_ns"] = port.lateness.total;
  object["stalls"] = port.lateness.stalls;
  object["stall_worst_ns"] = port.lateness.worst_stall;
  object["not_fetched_bytes"] = port.lateness.not_fetched;
  object["nobody_there_bytes"] = port.lateness.nobody_there;
  return object;
}

}  // namespace

std::string soak_json(const SoakReport& report) {
  const Soak& soak = report.soak;
  const auto measures = soak.measures();
  const auto states = soak.states();
  json::object document;
  document["schema"] = "hopbench.soak/1";
  document["soak"] = report.scenario;
  put_reality(document, report.reality);
  document["simulated"] = anything_simulated(report.reality);
  document["seed"] = report.seed;
  document["verdict"] = word(verdict_of(states));
  document["end"] = word(report.end);
  document["from_ns"] = report.start;
  document["until_ns"] = report.now;
  document["planned_until_ns"] = report.until;
  document["resumed"] = report.resumed;
  document["detail_files_removed"] = report.detail_removed;
  document["detail_records_lost"] = report.detail_lost;
  const Coverage coverage = soak.coverage();
  document["gaps"] = coverage.gaps;
  document["gap_ns"] = coverage.gap_time;
  document["late_apart"] = soak.apart();
  if (report.port) document["port"] = json_of(*report.port);
  document["asked"] = measures.all.asked;
  document["failed"] = measures.all.asked - measures.all[Outcome::answered];
  document["cycles"] = soak.stretches().whole_cycles();
  document["stretch_ns"] = soak.stretches().length();
  json::array requirements;
  for (std::size_t i = 0; i < states.size(); ++i) {
    requirements.push_back(json_of(report, soak.requirements()[i], states[i]));
  }
  document["requirements"] = std::move(requirements);
  json::array changes;
  for (const auto& change : changes_in(soak.whole_days())) {
    json::object each;
    each["figure"] = word(change.trend);
    each["after_day"] = change.first_after;
    each["before"] = rounded(change.before);
    each["after"] = rounded(change.after);
    each["p"] = rounded(change.p);
    changes.push_back(std::move(each));
  }
  document["changes"] = std::move(changes);
  json::array hours;
  for (const auto& hour : soak.hours()) hours.push_back({{"asked", hour.asked}, {"failed", hour.failed}});
  document["hours"] = std::move(hours);
  json::array days;
  for (const auto& day : soak.days()) days.push_back(json_of(day));
  document["days"] = std::move(days);
  return json_text(document);
}

std::string soak_plan_json(const std::string& scenario, const SoakPlan& plan, bool real_time) {
  json::object document;
  document["schema"] = "hopbench.soak_plan/1";
  document["soak"] = scenario;
  put_reality(document, Reality::simulated);
  document["simulated"] = true;
  document["real_time"] = real_time;
  document["rehearsed_ns"] = plan.rehearsed;
  document["cycle_ns"] = plan.cycle;
  json::array requirements;
  for (const auto& each : plan.requirements) {
    json::object object;
    object["that"] = each.requirement->that;
    object["trials_per_second"] = rounded(each.trials_per_second);
    if (each.requirement->term.share) {
      object["trials_without_hits"] = rounded(each.without_hits);
      object["mean_trials_if_acceptable"] = rounded(each.if_acceptable);
      object["mean_trials_if_rejectable"] = rounded(each.if_rejectable);
      json::array fixed;
      for (const auto& test : each.fixed) {
        fixed.push_back(
            {{"allowed", test.allowed}, {"trials", test.trials}, {"rejects_good", rounded(test.rejects_good)}});
      }
      object["fixed"] = std::move(fixed);
    }
    requirements.push_back(std::move(object));
  }
  document["requirements"] = std::move(requirements);
  return json_text(document);
}

}  // namespace hopbench
