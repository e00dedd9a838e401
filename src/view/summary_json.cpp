#include <fmt/format.h>

#include <boost/json/array.hpp>
#include <boost/json/object.hpp>
#include <cstdlib>

#include "judge/limits.h"
#include "seen/reality.h"
#include "view/file_trouble.h"
#include "view/json_text.h"
#include "view/summary.h"
#include "view/summary_parts.h"

namespace hopbench {
namespace {

namespace json = boost::json;

/// Six digits: more would tell of the processor rather than of the chain.
json::value whole(std::uint64_t value) { return json::value(value); }

/// Nanoseconds as microseconds; null for none.
json::value micros(std::optional<std::int64_t> nanos) {
  if (!nanos) return nullptr;
  if (*nanos % 1000 == 0) return json::value(*nanos / 1000);
  return json::value(static_cast<double>(*nanos) / 1000.0);
}

json::object spread(const Histogram& histogram, bool with_p90) {
  json::object object;
  object["p50"] = micros(histogram.percentile(500'000));
  if (with_p90) object["p90"] = micros(histogram.percentile(900'000));
  object["p99"] = micros(histogram.percentile(990'000));
  object["max"] = micros(histogram.most());
  return object;
}

/// A spread and the number of times that it is of; null where there are none.
void put_counted(json::object& document, const char* key, const Histogram& histogram) {
  if (histogram.count() == 0) {
    document[key] = nullptr;
    return;
  }
  auto object = spread(histogram, true);
  object["count"] = whole(histogram.count());
  document[key] = std::move(object);
}

json::object exchanges(const ExchangeMeasures& measures) {
  json::object object;
  object["asked"] = whole(measures.asked);
  for (std::size_t i = 0; i < outcome_count; ++i) {
    object[name_of(static_cast<Outcome>(i))] = whole(measures.outcomes[i]);
  }
  if (measures.unknown_outcomes() > 0) object["unknown"] = whole(measures.unknown_outcomes());
  object["tries"] = whole(measures.tries);
  return object;
}

json::object hop(const LinkInfo& info, const LinkMeasures& measures, const std::uint64_t* undetected,
                 std::optional<double> used) {
  const auto symptom = [&](Symptom which) { return whole(measures.symptoms[static_cast<std::size_t>(which)]); };
  json::object object;
  object["hop"] = info.hop;
  object["from"] = info.from;
  object["to"] = info.to;
  object["frames_in"] = whole(measures.frames_in);
  object["frames_out"] = whole(measures.frames_out);
  const auto loss = share_of(measures.frames_in - measures.frames_out, measures.frames_in);
  object["loss"] = loss ? json::value(rounded(loss->value)) : json::value(nullptr);
  object["loss_low"] = loss ? json::value(rounded(loss->low)) : json::value(nullptr);
  object["loss_high"] = loss ? json::value(rounded(loss->high)) : json::value(nullptr);
  object["check_failures"] = symptom(Symptom::check);
  object["framing_errors"] = symptom(Symptom::framing);
  object["overruns"] = symptom(Symptom::overrun);
  object["no_room"] = symptom(Symptom::no_room);
  object["parity_errors"] = symptom(Symptom::parity);
  object["too_short"] = symptom(Symptom::too_short);
  object["too_long"] = symptom(Symptom::too_long);
  object["nothing"] = symptom(Symptom::nothing);
  if (measures.unknown_symptoms() > 0) object["unknown"] = whole(measures.unknown_symptoms());
  object["came_damaged"] = whole(measures.came_damaged);
  object["undetected"] = undetected != nullptr ? whole(*undetected) : json::value(nullptr);
  object["transit_us"] = spread(measures.transit, false);
  object["used"] = used ? json::value(rounded(*used)) : json::value(nullptr);
  return object;
}

json::object bursts(const BurstMeasures& measures, bool with_lengths) {
  json::object object;
  object["count"] = whole(measures.count());
  const auto longest = measures.longest_of_all();
  object["longest"] = whole(longest ? longest->length : 0);
  const bool known = longest && longest->from_known;
  object["longest_from_seconds"] = known ? json::value(static_cast<double>(longest->from) / 1e9) : json::value(nullptr);
  if (!with_lengths) return object;
  auto& lengths = object["lengths"].emplace_array();
  const auto counts = measures.lengths();
  for (std::size_t i = 0; i < counts.size(); ++i) {
    if (counts[i] == 0) continue;
    json::object row;
    row["from"] = whole(BurstMeasures::shortest_in(i));
    row["to"] = i + 1 < counts.size() ? whole(BurstMeasures::longest_in(i)) : json::value(nullptr);
    row["bursts"] = whole(counts[i]);
    lengths.push_back(std::move(row));
  }
  return object;
}

json::object unseen(const Summary& summary, const CellsUnseen& group) {
  const auto longest = summary.measures.longest_unseen(group);
  json::object object;
  object["node"] =
      group.node < summary.run.nodes.size() ? json::value(summary.run.nodes[group.node]) : json::value(nullptr);
  object["first_cell"] = group.first_cell;
  object["cells"] = group.cells;
  object["ever_seen"] = group.ever_seen;
  object["seconds"] = static_cast<double>(longest.span) / 1e9;
  object["from_seconds"] = static_cast<double>(longest.from) / 1e9;
  if (summary.captures > 1) object["capture"] = longest.run + 1;
  return object;
}

}  // namespace

std::vector<const CellsUnseen*> by_time_unseen(const Measures& measures) {
  std::vector<const CellsUnseen*> groups;
  for (const auto& group : measures.cells) groups.push_back(&group);
  std::stable_sort(groups.begin(), groups.end(), [&](const CellsUnseen* a, const CellsUnseen* b) {
    if (a->ever_seen != b->ever_seen) return b->ever_seen;
    return measures.longest_unseen(*a).span > measures.longest_unseen(*b).span;
  });
  return groups;
}

std::string_view vantage_of(const RunInfo& run) {
  bool all_simulated = true;
  bool on_the_wire = false;
  bool at_port = false;
  for (const auto& link : run.links) {
    if (!is_known(link.vantage)) return name_of(link.vantage);
    all_simulated = all_simulated && link.vantage == Vantage::simulated;
    on_the_wire = on_the_wire || link.vantage == Vantage::simulated || link.vantage == Vantage::tapped;
    at_port = at_port || link.vantage == Vantage::at_port;
  }
  if (all_simulated) return "every_hop";
  if (on_the_wire) return "some_hops";
  return at_port ? "controller_only" : "log";
}

std::string summary_json(const Summary& summary) {
  const auto& run = summary.run;
  const auto& measures = summary.measures;
  json::object document;
  document["schema"] = "hopbench.summary/1";
  document["scenario"] = run.scenario;
  document["seed"] = whole(run.seed);
  put_reality(document, reality_of(run));
  document["simulated_seconds"] = static_cast<double>(summary.seen_time()) / 1e9;
  document["vantage"] = vantage_of(run);
  if (summary.captures > 1) document["captures"] = whole(summary.captures);
  document["exchanges"] = exchanges(measures.all);
  document["round_trip_us"] = spread(measures.all.round_trip, true);
  if (summary.rounds != nullptr) {
    put_counted(document, "late_by_us", summary.rounds->late_by);
    put_counted(document, "rounds_us", summary.rounds->lengths);
  }
  document["bursts"] = bursts(measures.bursts, true);
  auto& cells = document["unseen"].emplace_array();
  for (const auto* group : by_time_unseen(measures)) cells.push_back(unseen(summary, *group));

  auto& hops = document["hops"].emplace_array();
  for (std::size_t i = 0; i < run.links.size() && i < measures.links.size(); ++i) {
    const bool known = summary.causes != nullptr && i < summary.causes->undetected.size();
    hops.push_back(hop(run.links[i], measures.links[i], known ? &summary.causes->undetected[i] : nullptr,
                       used_share(summary, measures.links[i])));
  }
  auto& nodes = document["nodes"].emplace_array();
  for (std::size_t i = 0; i < measures.nodes.size(); ++i) {
    const bool everyone = i >= run.nodes.size();
    if (everyone && measures.nodes[i].asked == 0) continue;
    json::object node;
    node["node"] = everyone ? "everyone" : run.nodes[i];
    node["exchanges"] = exchanges(measures.nodes[i]);
    node["round_trip_us"] = spread(measures.nodes[i].round_trip, true);
    if (i < measures.node_bursts.size()) node["bursts"] = bursts(measures.node_bursts[i], false);
    nodes.push_back(std::move(node));
  }
  auto& topics = document["topics"].emplace_array();
  for (std::size_t i = 0; i < measures.topics.size(); ++i) {
    json::object topic;
    topic["topic"] = measures.topics[i];
    topic["exchanges"] = exchanges(measures.by_topic[i]);
    topic["round_trip_us"] = spread(measures.by_topic[i].round_trip, true);
    topics.push_back(std::move(topic));
  }
  if (summary.causes != nullptr) {
    auto& causes = document["causes"].emplace_object();
    for (std::size_t i = 0; i < summary.causes->tries.size(); ++i) {
      if (summary.causes->tries[i] > 0) causes[name_of(static_cast<Cause>(i))] = whole(summary.causes->tries[i]);
    }
    auto& faults = document["faults"].emplace_array();
    for (std::size_t i = 0; i < run.faults.size() && i < summary.causes->strikes.size(); ++i) {
      json::object fault;
      fault["fault"] = run.faults[i];
      fault["strikes"] = whole(summary.causes->strikes[i]);
      faults.push_back(std::move(fault));
    }
  }
  if (!run.simulated) {
    const auto& late = measures.lateness;
    const auto sends = static_cast<std::int64_t>(late.sends);
    auto& lateness = document["lateness"].emplace_object();
    lateness["sends"] = whole(late.sends);
    lateness["worst_us"] = micros(late.worst);
    lateness["mean_us"] = sends > 0 ? micros(late.total / sends) : json::value(nullptr);
    lateness["stalls"] = whole(late.stalls);
    lateness["worst_stall_us"] = micros(late.worst_stall);
    lateness["stalled_us"] = micros(late.stalled);
    lateness["port_median_us"] = late.port_median > 0 ? micros(late.port_median) : json::value(nullptr);
    lateness["port_99_us"] = late.port_99 > 0 ? micros(late.port_99) : json::value(nullptr);
    auto& dropped = document["dropped_bytes"].emplace_object();
    dropped["not_fetched"] = whole(late.not_fetched);
    dropped["nobody_there"] = whole(late.nobody_there);
  }
  if (!summary.coverage.whole()) {
    auto& coverage = document["coverage"].emplace_object();
    coverage["tallied"] = whole(summary.coverage.tallied);
    coverage["tallied_unanswered"] = whole(summary.coverage.tallied_unanswered);
    coverage["unreadable"] = whole(summary.coverage.unreadable);
    coverage["dropped"] = whole(summary.coverage.dropped);
    coverage["gaps"] = whole(summary.coverage.gaps);
    coverage["gap_seconds"] = static_cast<double>(summary.coverage.gap_time) / 1e9;
    coverage["holes"] = whole(summary.coverage.holes);
    coverage["hole_seconds"] = static_cast<double>(summary.coverage.hole_time) / 1e9;
    coverage["ambiguous"] = whole(summary.coverage.ambiguous);
    coverage["doubtful"] = whole(summary.coverage.doubtful);
  }
  if (summary.capture.any()) {
    auto& capture = document["capture"].emplace_object();
    capture["bytes_skipped"] = whole(summary.capture.bytes_skipped);
    const auto missing = records_missing(summary.capture.bytes_skipped, summary.capture.records_missing);
    capture["records_missing"] = missing ? whole(*missing) : boost::json::value(nullptr);
    capture["files_missing"] = whole(summary.capture.files_missing);
    capture["files_misplaced"] = whole(summary.capture.files_misplaced);
    capture["files_cut"] = whole(summary.capture.files_cut);
    if (summary.capture.causes_unreadable > 0) {
      capture["causes_unreadable"] = whole(summary.capture.causes_unreadable);
    }
    capture["torn_bytes"] = whole(summary.capture.torn_bytes);
    capture["unclosed"] = summary.capture.unclosed;
  }
  return json_text(document);
}

}  // namespace hopbench
