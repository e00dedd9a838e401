#include "measure/measures.h"

#include <algorithm>
#include <numeric>

namespace hopbench {
namespace {

template <std::size_t N>
void add_up(std::array<std::uint64_t, N>& to, const std::array<std::uint64_t, N>& from) {
  for (std::size_t i = 0; i < N; ++i) to[i] += from[i];
}

template <std::size_t N>
void take_off(std::array<std::uint64_t, N>& from, const std::array<std::uint64_t, N>& what) {
  for (std::size_t i = 0; i < N; ++i) from[i] -= what[i];
}

template <std::size_t N>
std::uint64_t sum_of(const std::array<std::uint64_t, N>& counts) {
  return std::accumulate(counts.begin(), counts.end(), std::uint64_t{0});
}

template <class T>
void merge_all(std::vector<T>& to, const std::vector<T>& from) {
  if (to.size() < from.size()) to.resize(from.size());
  for (std::size_t i = 0; i < from.size(); ++i) to[i].merge(from[i]);
}

template <class T>
void minus_all(std::vector<T>& from, const std::vector<T>& what) {
  for (std::size_t i = 0; i < from.size() && i < what.size(); ++i) from[i].minus(what[i]);
}

/// From a to b, and as long as can be if that is longer still.
Nanos span_between(Nanos a, Nanos b) {
  if (b <= a) return 0;
  const auto wide = static_cast<std::uint64_t>(b) - static_cast<std::uint64_t>(a);
  return wide > static_cast<std::uint64_t>(never) ? never : static_cast<Nanos>(wide);
}

/// Sum of spans, as long as can be if it is longer still.
Nanos sum_of(Nanos a, Nanos b) {
  if (b <= 0) return a;
  return a > never - b ? never : a + b;
}

/// `into` gets a place for each of `other`'s groups; f(mine, other's) for each of them.
template <class F>
void by_group(std::vector<CellsUnseen>& into, const std::vector<CellsUnseen>& other, F f) {
  for (std::size_t i = 0; i < other.size(); ++i) {
    // Almost always they are the same ones, in the same places.
    auto mine =
        i < into.size() && into[i].same_cells(other[i])
            ? into.begin() + static_cast<std::ptrdiff_t>(i)
            : std::find_if(into.begin(), into.end(), [&](const auto& group) { return group.same_cells(other[i]); });
    if (mine == into.end()) {
      CellsUnseen fresh;
      fresh.node = other[i].node;
      fresh.first_cell = other[i].first_cell;
      fresh.cells = other[i].cells;
      mine = into.insert(into.end(), fresh);
    }
    f(*mine, other[i]);
  }
}

Nanos difference(Nanos a, Nanos b) {
  return static_cast<Nanos>(static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b));
}

/// The longest ones stay: they are then "at most".
void take_off_lateness(Lateness& from, const Lateness& earlier) {
  from.sends -= earlier.sends;
  from.total = difference(from.total, earlier.total);
  from.stalls -= earlier.stalls;
  from.stalled = difference(from.stalled, earlier.stalled);
  from.not_fetched -= earlier.not_fetched;
  from.nobody_there -= earlier.nobody_there;
}

/// What is only counted, and so does not care which came first.
void add_counts(Measures& to, const Measures& from) {
  to.all.merge(from.all);
  merge_all(to.links, from.links);
  merge_all(to.nodes, from.nodes);
  for (std::size_t i = 0; i < from.topics.size(); ++i) {
    auto at = i < to.topics.size() && to.topics[i] == from.topics[i]
                  ? i
                  : static_cast<std::size_t>(std::find(to.topics.begin(), to.topics.end(), from.topics[i]) -
                                             to.topics.begin());
    if (at == to.topics.size()) {
      to.topics.push_back(from.topics[i]);
      to.by_topic.emplace_back();
    }
    to.by_topic[at].merge(from.by_topic[i]);
  }
  to.arrivals += from.arrivals;
  add_lateness(to.lateness, from.lateness);
  if (to.node_bursts.size() < from.node_bursts.size()) to.node_bursts.resize(from.node_bursts.size());
}

}  // namespace

void LinkMeasures::add_damaged(const HopRow& row, std::uint64_t times) {
  if (row.inherited) {
    came_damaged += times;
    return;
  }
  frames_in += times;
  if (const auto place = place_of(row.symptom); place < symptom_count) symptoms[place] += times;
}

std::uint64_t LinkMeasures::unknown_symptoms() const { return frames_in - std::min(frames_in, sum_of(symptoms)); }

void LinkMeasures::merge(const LinkMeasures& other) {
  frames_in += other.frames_in;
  frames_out += other.frames_out;
  came_damaged += other.came_damaged;
  add_up(symptoms, other.symptoms);
  strays += other.strays;
  transit.merge(other.transit);
}

void LinkMeasures::minus(const LinkMeasures& earlier) {
  frames_in -= earlier.frames_in;
  frames_out -= earlier.frames_out;
  came_damaged -= earlier.came_damaged;
  take_off(symptoms, earlier.symptoms);
  strays -= earlier.strays;
  transit.minus(earlier.transit);
}

void ExchangeMeasures::add(const ExchangeObs& obs, std::uint64_t times) {
  asked += times;
  tries += times * obs.attempts.size();
  if (const auto place = place_of(obs.outcome); place < outcome_count) outcomes[place] += times;
  if (obs.round_trip >= 0) round_trip.add(obs.round_trip, times);
}

std::uint64_t ExchangeMeasures::unknown_outcomes() const { return asked - std::min(asked, sum_of(outcomes)); }

void ExchangeMeasures::merge(const ExchangeMeasures& other) {
  asked += other.asked;
  tries += other.tries;
  add_up(outcomes, other.outcomes);
  round_trip.merge(other.round_trip);
}

void ExchangeMeasures::minus(const ExchangeMeasures& earlier) {
  asked -= earlier.asked;
  tries -= earlier.tries;
  take_off(outcomes, earlier.outcomes);
  round_trip.minus(earlier.round_trip);
}

Nanos Measures::covered() const { return span_between(from == never ? 0 : from, until); }

CellsUnseen::Longest Measures::longest_unseen(const CellsUnseen& group) const {
  // The ends of merged runs are in it already.
  if (runs > 1 || from == never) return group.longest;
  return group.longest_in(from, until);
}

void Measures::merge(const Measures& other) {
  if (other.runs == 0) return;
  if (runs == 0) {
    *this = other;
    return;
  }
  const auto close_run = [](Measures& m) {
    if (m.runs > 1) return;
    for (auto& group : m.cells) group.close_ends(m.from, m.until);
    m.until = m.covered();
    m.from = 0;
  };
  Measures another = other;
  close_run(*this);
  close_run(another);
  add_counts(*this, another);
  bursts.merge(another.bursts, runs);
  for (std::size_t i = 0; i < node_bursts.size(); ++i) {
    node_bursts[i].merge(i < another.node_bursts.size() ? another.node_bursts[i] : BurstMeasures{}, runs);
  }
  by_group(cells, another.cells, [&](CellsUnseen& mine, const CellsUnseen& others) {
    mine.ever_seen = mine.ever_seen || others.ever_seen;
    if (others.longest.span <= mine.longest.span) return;
    mine.longest = others.longest;
    mine.longest.run += runs;
  });
  until = sum_of(until, another.until);
  ended = ended && another.ended;
  runs += another.runs;
}

void Measures::append(const Measures& next) {
  if (next.runs == 0) return;
  if (runs != 1 || next.runs != 1) {
    merge(next);
    return;
  }
  add_counts(*this, next);
  bursts.append(next.bursts);
  for (std::size_t i = 0; i < next.node_bursts.size(); ++i) node_bursts[i].append(next.node_bursts[i]);
  by_group(cells, next.cells, [](CellsUnseen& mine, const CellsUnseen& others) { mine.append(others); });
  from = std::min(from, next.from);
  until = std::max(until, next.until);
  ended = ended || next.ended;
}

void Measures::minus(const Measures& earlier) {
  all.minus(earlier.all);
  minus_all(links, earlier.links);
  minus_all(nodes, earlier.nodes);
  minus_all(by_topic, earlier.by_topic);
  bursts.minus(earlier.bursts);
  minus_all(node_bursts, earlier.node_bursts);
  cells.clear();
  arrivals -= earlier.arrivals;
  if (earlier.from != never) from = earlier.until;
  take_off_lateness(lateness, earlier.lateness);
}

void Measures::clear() {
  const auto zero = [](ExchangeMeasures& m) {
    m.asked = 0;
    m.tries = 0;
    m.outcomes = {};
    m.round_trip.clear();
  };
  zero(all);
  for (auto& node : nodes) zero(node);
  for (auto& topic : by_topic) zero(topic);
  for (auto& link : links) {
    link.frames_in = 0;
    link.frames_out = 0;
    link.came_damaged = 0;
    link.symptoms = {};
    link.strays = 0;
    link.transit.clear();
  }
  bursts = {};
  std::fill(node_bursts.begin(), node_bursts.end(), BurstMeasures{});
  for (auto& group : cells) {
    group.ever_seen = false;
    group.seen_once = false;
    group.first = 0;
    group.last = 0;
    group.longest = {};
  }
  arrivals = 0;
  from = never;
  until = 0;
  ended = false;
  lateness = {};
}

bool Measures::same_shape(const Measures& other) const {
  return links.size() == other.links.size() && nodes.size() == other.nodes.size() && topics == other.topics &&
         by_topic.size() == other.by_topic.size() && node_bursts.size() == other.node_bursts.size() &&
         std::equal(cells.begin(), cells.end(), other.cells.begin(), other.cells.end(),
                    [](const auto& a, const auto& b) { return a.same_cells(b); });
}

bool operator==(const Measures& a, const Measures& b) {
  return a.all == b.all && a.links == b.links && a.nodes == b.nodes && a.topics == b.topics &&
         a.by_topic == b.by_topic && a.bursts == b.bursts && a.node_bursts == b.node_bursts && a.cells == b.cells &&
         a.arrivals == b.arrivals && a.runs == b.runs && a.from == b.from && a.until == b.until && a.ended == b.ended &&
         a.lateness == b.lateness;
}

void add_lateness(Lateness& to, const Lateness& from) {
  to.sends += from.sends;
  to.worst = std::max(to.worst, from.worst);
  to.total = sum_of(to.total, from.total);
  to.stalls += from.stalls;
  to.worst_stall = std::max(to.worst_stall, from.worst_stall);
  to.stalled = sum_of(to.stalled, from.stalled);
  to.not_fetched += from.not_fetched;
  to.nobody_there += from.nobody_there;
  to.port_median = std::max(to.port_median, from.port_median);
  to.port_99 = std::max(to.port_99, from.port_99);
}

void Coverage::merge(const Coverage& other) {
  tallied += other.tallied;
  tallied_unanswered += other.tallied_unanswered;
  unreadable += other.unreadable;
  dropped += other.dropped;
  gaps += other.gaps;
  gap_time = sum_of(gap_time, other.gap_time);
  holes += other.holes;
  hole_time = sum_of(hole_time, other.hole_time);
  ambiguous += other.ambiguous;
  doubtful += other.doubtful;
}

}  // namespace hopbench
