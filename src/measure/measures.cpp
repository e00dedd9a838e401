#include "measure/measures.h"

#include <algorithm>

namespace hopbench {
namespace {

void add(ExchangeMeasures& to, const ExchangeObs& obs) {
  ++to.asked;
  to.tries += obs.attempts.size();
  if (const auto outcome = static_cast<std::size_t>(obs.outcome); outcome < outcome_count) ++to.outcomes[outcome];
  if (obs.round_trip >= 0) to.round_trip.add(obs.round_trip);
}

void add(LinkMeasures& to, const HopRow& row) {
  if (row.inherited) {
    ++to.came_damaged;
    return;
  }
  ++to.frames_in;
  if (const auto symptom = static_cast<std::size_t>(row.symptom); symptom < symptom_count) ++to.symptoms[symptom];
  if (row.symptom != Symptom::none) return;
  ++to.frames_out;
  // A made-up capture may hold instants as far apart as there are; their span wraps then, and counts as nothing.
  to.transit.add(static_cast<Nanos>(static_cast<std::uint64_t>(row.end) - static_cast<std::uint64_t>(row.start)));
}

template <std::size_t N>
void add_up(std::array<std::uint64_t, N>& to, const std::array<std::uint64_t, N>& from) {
  for (std::size_t i = 0; i < N; ++i) to[i] += from[i];
}

template <class T>
void merge_all(std::vector<T>& to, const std::vector<T>& from) {
  if (to.size() < from.size()) to.resize(from.size());
  for (std::size_t i = 0; i < from.size(); ++i) to[i].merge(from[i]);
}

}  // namespace

void LinkMeasures::merge(const LinkMeasures& other) {
  frames_in += other.frames_in;
  frames_out += other.frames_out;
  came_damaged += other.came_damaged;
  add_up(symptoms, other.symptoms);
  strays += other.strays;
  transit.merge(other.transit);
}

void ExchangeMeasures::merge(const ExchangeMeasures& other) {
  asked += other.asked;
  tries += other.tries;
  add_up(outcomes, other.outcomes);
  round_trip.merge(other.round_trip);
}

void Measures::merge(const Measures& other) {
  all.merge(other.all);
  merge_all(links, other.links);
  merge_all(nodes, other.nodes);
  for (std::size_t i = 0; i < other.topics.size(); ++i) {
    const auto found = std::find(topics.begin(), topics.end(), other.topics[i]);
    if (found == topics.end()) {
      topics.push_back(other.topics[i]);
      by_topic.push_back(other.by_topic[i]);
    } else {
      by_topic[static_cast<std::size_t>(found - topics.begin())].merge(other.by_topic[i]);
    }
  }
  arrivals += other.arrivals;
  until = std::max(until, other.until);
  ended = ended && other.ended;
  lateness.sends += other.lateness.sends;
  lateness.worst = std::max(lateness.worst, other.lateness.worst);
  lateness.total += other.lateness.total;
}

bool operator==(const Measures& a, const Measures& b) {
  return a.all == b.all && a.links == b.links && a.nodes == b.nodes && a.topics == b.topics &&
         a.by_topic == b.by_topic && a.arrivals == b.arrivals && a.until == b.until && a.ended == b.ended &&
         a.lateness.sends == b.lateness.sends && a.lateness.worst == b.lateness.worst &&
         a.lateness.total == b.lateness.total;
}

void MeasureFold::begin(const RunInfo& run) {
  run_ = run;
  measures_ = Measures{};
  measures_.links.resize(run.links.size());
  measures_.nodes.resize(run.nodes.size() + 1);
  topic_of_entry_.clear();
  for (const auto& entry : run.entries) {
    auto& topics = measures_.topics;
    const auto found = std::find(topics.begin(), topics.end(), entry.topic);
    topic_of_entry_.push_back(static_cast<std::size_t>(found - topics.begin()));
    if (found == topics.end()) topics.push_back(entry.topic);
  }
  measures_.by_topic.resize(measures_.topics.size());
}

void MeasureFold::exchange(const ExchangeObs& obs, const ExchangeTruth*) {
  auto& m = measures_;
  add(m.all, obs);
  if (!m.nodes.empty()) add(m.nodes[std::min<std::size_t>(obs.node, m.nodes.size() - 1)], obs);
  if (obs.entry < topic_of_entry_.size()) add(m.by_topic[topic_of_entry_[obs.entry]], obs);
  for (const auto& row : obs.rows) {
    if (row.link < m.links.size()) add(m.links[row.link], row);
  }
  m.until = std::max(m.until, obs.closed);
}

void MeasureFold::stray(const Stray& stray) {
  if (stray.link < measures_.links.size()) ++measures_.links[stray.link].strays;
  measures_.until = std::max(measures_.until, stray.at);
}

void MeasureFold::arrival(const Arrival& arrival) {
  measures_.arrivals += arrival.bytes.size();
  measures_.until = std::max(measures_.until, arrival.at);
}

void MeasureFold::end(Nanos until, const Lateness& lateness) {
  measures_.until = std::max(measures_.until, until);
  measures_.lateness = lateness;
  measures_.ended = true;
}

}  // namespace hopbench
