#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <cmath>

#include "view/explain_report.h"
#include "view/file_trouble.h"
#include "view/json_text.h"

namespace hopbench {
namespace {

namespace json = boost::json;

json::value whole(std::uint64_t number) { return json::value(number); }

json::value trend(const Trend& trend) {
  json::object object;
  object["t"] = trend.tested && std::isfinite(trend.t) ? json::value(trend.t) : json::value(nullptr);
  object["p"] = trend.tested ? json::value(trend.p) : json::value(nullptr);
  object["clusters"] = trend.clusters;
  return object;
}

/// Advice as `key`, and next to it as `caution` what to mind before it is followed; null if no hand comes near a
/// battery.
void put_advice(json::object& object, const char* key, const Advice& advice) {
  object[key] = advice.text;
  object["caution"] = advice.near_battery ? json::value(battery_caution()) : json::value(nullptr);
}

json::object looked_at(const When& when) {
  json::object object;
  object["condition"] = name_of(when.condition);
  object["standing"] = name_of(when.standing);
  object["trend"] = trend(when.trend);
  object["adjusted_p"] = when.trend.tested ? json::value(when.adjusted_p) : json::value(nullptr);
  object["more_clusters"] = when.more_clusters ? json::value(*when.more_clusters) : json::value(nullptr);
  json::array beside;
  for (const auto other : when.beside) beside.emplace_back(name_of(other));
  object["beside"] = std::move(beside);
  object["sentence"] = when.sentence;
  return object;
}

json::object whens(const Whens& all) {
  json::array array;
  for (const auto& when : all.found) {
    json::object object;
    object["condition"] = name_of(when.condition);
    object["trend"] = trend(when.trend);
    object["adjusted_p"] = when.adjusted_p;
    object["at_equal_others"] = name_of(when.confounding);
    object["sentence"] = when.sentence;
    array.push_back(std::move(object));
  }
  json::object object;
  object["conditions"] = std::move(array);
  json::array every;
  for (const auto& when : all.looked_at) every.push_back(looked_at(when));
  object["looked_at"] = std::move(every);
  put_advice(object, "together", all.together);
  object["not_tested"] = all.could_not;
  return object;
}

/// Where conditions come from, and how old they were at most; null where one is not known.
json::object conditions(const Explanation& explanation) {
  json::object object;
  object["as_told"] = explanation.as_told;
  for (std::size_t i = 0; i < told_count; ++i) {
    const auto& known = explanation.known[i];
    json::object one;
    one["known_for_exchanges"] = whole(known.exchanges);
    one["told_on_this_bus"] =
        known.tellable == Tellable::not_known ? json::value(nullptr) : json::value(known.tellable == Tellable::yes);
    one["oldest_ns"] = explanation.as_told && known.exchanges > 0 ? json::value(known.oldest) : json::value(nullptr);
    one["nodes"] = known.nodes;
    object[name_of(static_cast<Condition>(i))] = std::move(one);
  }
  object["note"] = explanation.told_note;
  return object;
}

json::array texts(const std::vector<std::string>& all) {
  json::array array;
  for (const auto& text : all) array.emplace_back(text);
  return array;
}

json::object rule_part(const RulePart& part) {
  json::object object;
  object["facet"] = name_of(part.facet);
  object["label"] = part.label.empty() ? json::value(nullptr) : json::value(part.label);
  object["relation"] = name_of(part.clause.relation);
  object["value"] = part.value;
  object["of"] = part.clause.modulus > 0 ? json::value(part.clause.modulus) : json::value(nullptr);
  object["words"] = part.words;
  return object;
}

json::value period(const std::optional<Periodic>& found, const char* unit) {
  if (!found) return nullptr;
  json::object object;
  object[std::string("length") + unit] = found->length;
  object[std::string("from") + unit] = found->from;
  object[std::string("width") + unit] = found->width;
  object["episodes"] = whole(found->episodes);
  object["in"] = whole(found->in);
  object["p"] = found->p;
  return object;
}

json::value edge(const std::optional<Edge>& found) {
  if (!found) return nullptr;
  json::object object;
  object["at_ns"] = found->at;
  object["passed"] = whole(found->passed);
  object["p"] = found->p;
  return object;
}

json::value bursts(const std::optional<Runs>& found) {
  if (!found) return nullptr;
  json::object object;
  object["runs"] = whole(found->runs);
  object["longest"] = whole(found->longest);
  object["expected"] = found->expected;
  object["p"] = found->p;
  return object;
}

json::value damage(const std::optional<DamagePlace>& found) {
  if (!found) return nullptr;
  json::object object;
  object["byte"] = found->at == 0 ? json::value(nullptr) : json::value(found->at);
  object["from_end"] = found->from_end;
  object["in"] = whole(found->in);
  object["of"] = whole(found->of);
  object["bit"] = found->bit ? json::value(*found->bit) : json::value(nullptr);
  object["bit_in"] = whole(found->bit_in);
  object["p"] = found->p;
  return object;
}

json::array strange(const std::vector<StrangeAnswers>& all, const RunInfo& run) {
  json::array list;
  for (const StrangeAnswers& each : all) {
    json::object object;
    object["asked"] = each.asked < run.nodes.size() ? run.nodes[each.asked] : "";
    object["other"] = each.other < run.nodes.size() ? run.nodes[each.other] : "";
    object["told_by"] = each.by_place ? "place" : "address";
    object["in"] = whole(each.in);
    object["of"] = whole(each.of);
    list.push_back(std::move(object));
  }
  return list;
}

json::object common(const CaseFinding& finding, const RunInfo& run) {
  const Common& found = finding.common_rules;
  json::object object;
  object["sentences"] = texts(finding.common);
  object["compared"] = !found.looked ? json::value(nullptr) : json::value(found.frames ? "frames" : "tries");
  object["scaled_up"] = found.sampled;
  object["descriptions_tried"] = whole(found.tried);
  json::array rules;
  for (const Rule& rule : found.rules) {
    json::array parts;
    for (const RulePart& part : rule.parts) parts.push_back(rule_part(part));
    json::object one;
    one["parts"] = std::move(parts);
    one["failed_in"] = whole(rule.failed_in);
    one["in"] = whole(rule.in);
    one["failed_out"] = whole(rule.failed_out);
    one["out"] = whole(rule.out);
    one["p"] = rule.p;
    rules.push_back(std::move(one));
  }
  object["rules"] = std::move(rules);
  object["period"] = period(found.rhythm.in_time, "_ns");
  object["period_in_frames"] = period(found.rhythm.in_frames, "");
  object["onset"] = edge(found.rhythm.onset);
  object["end"] = edge(found.rhythm.end);
  object["bursts"] = bursts(found.rhythm.bursts);
  object["damage"] = damage(found.damage);
  object["strange_answers"] = strange(found.strange, run);
  return object;
}

/// What is missing of the capture, and so of every number.
json::object damage_object(const CaptureDamage& damage) {
  const auto missing = records_missing(damage.bytes_skipped, damage.records_missing);
  json::object object;
  object["in_the_middle"] = damage.in_the_middle();
  object["bytes_skipped"] = whole(damage.bytes_skipped);
  object["records_missing"] = missing ? whole(*missing) : json::value(nullptr);
  object["files"] = whole(damage.bad_segments());
  return object;
}

json::array held_up(const std::vector<HeldUp>& rows) {
  json::array array;
  for (const auto& row : rows) {
    json::object one;
    one["station"] = row.station;
    one["answering"] = row.answering;
    one["late"] = whole(row.late);
    one["frames"] = whole(row.frames);
    one["median_ns"] = row.median;
    one["p99_ns"] = row.most;
    one["longest_ns"] = row.longest;
    array.push_back(std::move(one));
  }
  return array;
}

json::object case_object(const CaseFinding& finding, const RunInfo& run, Sight sight) {
  json::object object;
  object["failures"] = whole(finding.failures);
  object["title"] = finding.title;
  json::array hops;
  if (sight != Sight::controller_only) {
    for (const auto link : finding.which.links) {
      if (link < run.links.size()) hops.push_back(json::value(run.links[link].hop));
    }
  }
  object["hops"] = std::move(hops);
  object["placed"] = finding.which.placed;
  object["seen"] = finding.symptoms;
  object["spread"] = finding.spread;
  object["when"] = whens(finding.when);
  object["held_up"] = held_up(finding.held_up);
  json::array candidates;
  for (std::size_t i = 0; i < finding.candidates.size(); ++i) {
    const auto& candidate = finding.candidates[i];
    json::object one;
    one["mechanism"] = name_of(candidate.mechanism);
    one["score"] = candidate.score;
    one["tied_first"] = i < finding.tied;
    one["evidence"] = candidate.evidence;
    one["against"] = candidate.against;
    candidates.push_back(std::move(one));
  }
  object["candidates"] = std::move(candidates);
  json::array rejected;
  for (const auto& each : finding.rejected) {
    json::object one;
    one["mechanism"] = name_of(each.mechanism);
    one["fact"] = each.fact;
    one["p"] = each.p;
    rejected.push_back(std::move(one));
  }
  object["rejected"] = std::move(rejected);
  object["mixture"] = finding.mixture;
  object["common"] = common(finding, run);
  object["verdict"] = finding.verdict;
  object["not_enough"] = finding.not_enough.empty() ? json::value(nullptr) : json::value(finding.not_enough);
  put_advice(object, "next", finding.next);
  return object;
}

}  // namespace

std::string explain_json(const Explanation& explanation, const RunInfo& run, const CauseCounts* causes,
                         const CaptureDamage* damage) {
  json::object document;
  document["schema"] = "hopbench.explanation/1";
  document["scenario"] = run.scenario;
  document["seed"] = whole(run.seed);
  document["reality"] = name_of(explanation.reality);
  document["simulated"] = anything_simulated(explanation.reality);
  document["vantage"] = name_of(explanation.sight);
  document["headline"] = explanation.headline;
  document["damage"] = damage == nullptr ? json::value(nullptr) : json::value(damage_object(*damage));
  document["rates"] = rates_json(explanation.rates);
  document["rates_unknown"] = explanation.rates.unknown;
  json::object where;
  where["sentences"] = texts(explanation.where.sentences);
  put_advice(where, "next", explanation.where.next);
  json::array hops;
  for (const auto& hop : explanation.where.hops) {
    json::object object;
    object["hop"] = hop.link < run.links.size() ? json::value(run.links[hop.link].hop) : json::value(nullptr);
    object["lost"] = whole(hop.lost);
    object["frames"] = whole(hop.frames);
    object["adjusted_p"] = hop.adjusted_p;
    object["sentence"] = hop.sentence;
    hops.push_back(std::move(object));
  }
  where["hops"] = std::move(hops);
  document["where"] = std::move(where);
  document["when"] = whens(explanation.when);
  document["when_note"] = explanation.when_note;
  document["conditions"] = conditions(explanation);
  document["left_out_as_doubtful"] = whole(explanation.doubtful);
  json::array cases;
  for (const auto& finding : explanation.cases) cases.push_back(case_object(finding, run, explanation.sight));
  document["cases"] = std::move(cases);
  document["cautions"] = texts(explanation.cautions);
  if (causes != nullptr) {
    json::object truth;
    for (std::size_t i = 0; i < causes->tries.size(); ++i) {
      if (causes->tries[i] > 0) truth[name_of(static_cast<Cause>(i))] = whole(causes->tries[i]);
    }
    document["what_the_simulation_did"] = std::move(truth);
  }
  return json_text(document);
}

}  // namespace hopbench
