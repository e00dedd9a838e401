#include "study/tallies.h"

#include <algorithm>
#include <utility>

#include "measure/measures.h"

namespace hopbench {
namespace {

void add_all(std::vector<Counted>& sums, const std::vector<Counted>& parts) {
  for (std::size_t i = 0; i < std::min(sums.size(), parts.size()); ++i) {
    sums[i].hits += parts[i].hits;
    sums[i].trials += parts[i].trials;
  }
}

void join_pairs(std::vector<Cluster>& clusters) {
  for (std::size_t i = 0; i < clusters.size(); ++i) {
    if (i % 2 == 1) {
      clusters[i / 2].add(clusters[i]);
    } else if (i > 0) {
      clusters[i / 2] = std::move(clusters[i]);
    }
  }
  clusters.resize((clusters.size() + 1) / 2);
}

void count_in(Counted& counted, double trials, double hits) {
  counted.trials += trials;
  counted.hits += hits;
}

double failed(const ExchangeMeasures& measures) {
  const auto tries = static_cast<double>(measures.tries);
  return std::max(0.0, tries - static_cast<double>(measures[Outcome::answered]));
}

}  // namespace

void Cluster::add(const Cluster& other) {
  count_in(exchanges, other.exchanges.trials, other.exchanges.hits);
  count_in(tries, other.tries.trials, other.tries.hits);
  for (std::size_t i = 0; i < outcomes.size(); ++i)
    count_in(outcomes[i], other.outcomes[i].trials, other.outcomes[i].hits);
  add_all(links, other.links);
  add_all(nodes, other.nodes);
  add_all(topics, other.topics);
  for (std::size_t i = 0; i < balancing.size(); ++i) {
    count_in(balancing[i], other.balancing[i].trials, other.balancing[i].hits);
  }
  round_trips.merge(other.round_trips);
}

void Tallies::join_blocks(Nanos span) {
  while (block_span < span && block_span <= farthest_instant) {
    join_pairs(blocks);
    block_span *= 2;
  }
}

void TallyFold::begin(const RunInfo& run) {
  tallies_ = Tallies{};
  tallies_.run = run;
  tallies_.block_span = second;
  topic_of_entry_.clear();
  for (const auto& entry : run.entries) {
    auto& topics = tallies_.topics;
    const auto found = std::find(topics.begin(), topics.end(), entry.topic);
    topic_of_entry_.push_back(static_cast<std::size_t>(found - topics.begin()));
    if (found == topics.end()) topics.push_back(entry.topic);
  }
  tallies_.all = empty();
  tallies_.cycles.assign(1, empty());
  cycles_joined_ = 1;
  balancing_ = unknown_bin;
  balancing_from_ = {};
  charging_ = false;
  begun_ = false;
}

Cluster TallyFold::empty() const {
  Cluster cluster;
  cluster.links.resize(tallies_.run.links.size());
  cluster.nodes.resize(tallies_.run.nodes.size());
  cluster.topics.resize(tallies_.topics.size());
  return cluster;
}

void TallyFold::see(Nanos at) {
  if (!begun_) tallies_.from = tallies_.until = at;
  begun_ = true;
  tallies_.until = std::max(tallies_.until, at);
}

Cluster& TallyFold::block_at(Nanos at) {
  const Nanos since = std::max<Nanos>(0, at - tallies_.from);
  while (since / tallies_.block_span >= static_cast<Nanos>(most_clusters))
    tallies_.join_blocks(2 * tallies_.block_span);
  const auto block = static_cast<std::size_t>(since / tallies_.block_span);
  while (tallies_.blocks.size() <= block) tallies_.blocks.push_back(empty());
  return tallies_.blocks[block];
}

Cluster& TallyFold::cycle_now() {
  auto& cycles = tallies_.cycles;
  while (tallies_.cycles_begun / cycles_joined_ >= most_clusters) {
    join_pairs(cycles);
    cycles_joined_ *= 2;
  }
  const std::size_t place = tallies_.cycles_begun / cycles_joined_;
  while (cycles.size() <= place) cycles.push_back(empty());
  return cycles[place];
}

void TallyFold::count(Cluster& cluster, const ExchangeObs& obs) const {
  // Those for which an exchange of a thinned capture was kept are in its tallies.
  const auto tries = static_cast<double>(obs.attempts.size());
  double hits = 0;
  for (const auto& attempt : obs.attempts) hits += attempt.outcome == Outcome::answered ? 0 : 1;
  count_in(cluster.exchanges, 1, obs.outcome == Outcome::answered ? 0 : 1);
  count_in(cluster.tries, tries, hits);
  for (std::size_t i = 0; i < outcome_count; ++i)
    count_in(cluster.outcomes[i], 1, static_cast<std::size_t>(obs.outcome) == i ? 1 : 0);
  if (obs.node < cluster.nodes.size()) count_in(cluster.nodes[obs.node], tries, hits);
  if (obs.entry < topic_of_entry_.size()) count_in(cluster.topics[topic_of_entry_[obs.entry]], tries, hits);
  if (balancing_ < bin_count) count_in(cluster.balancing[balancing_], tries, hits);
  for (const auto& row : obs.rows) {
    if (row.inherited || row.link >= cluster.links.size()) continue;
    count_in(cluster.links[row.link], 1, row.symptom == Symptom::none ? 0 : 1);
  }
  if (obs.round_trip >= 0) cluster.round_trips.add(obs.round_trip, 1);
}

void TallyFold::exchange(const ExchangeObs& obs) {
  if (obs.doubtful) {
    ++tallies_.doubtful;
    return;
  }
  see(obs.start);
  if (balancing_ != unknown_bin) {
    tallies_.balancing.count(balancing_from_, obs.start);
  }
  count(tallies_.all, obs);
  count(block_at(obs.start), obs);
  count(cycle_now(), obs);
}

void TallyFold::conditions(const ConditionValues& conditions) {
  if (!conditions.as_told) see(conditions.at);
  const bool charging = conditions.charge_ma.value_or(0) > 0;
  if (charging && !charging_) ++tallies_.cycles_begun;
  if (conditions.charge_ma) charging_ = charging;
  balancing_ = conditions.cells_balancing ? balancing_bin(*conditions.cells_balancing) : unknown_bin;
  balancing_from_ = conditions.sources[static_cast<std::size_t>(Condition::balancing)];
  tallies_.balancing.tellable = balancing_from_.tellable;
  tallies_.as_told = conditions.as_told;
}

void TallyFold::hole() {
  ++tallies_.missing;
  balancing_ = unknown_bin;
}

void TallyFold::tally(const Tally& tally) {
  see(tally.from);
  tallies_.tallied += tally.exchanges;
  Measures measures;
  if (!Measures::parse(tally.measures, measures) || measures.links.size() != tallies_.run.links.size() ||
      measures.nodes.size() != tallies_.run.nodes.size() + 1) {
    tallies_.unreadable += tally.exchanges;
    return;
  }
  Cluster sum = empty();
  const auto asked = static_cast<double>(measures.all.asked);
  const auto tries = static_cast<double>(measures.all.tries);
  count_in(sum.exchanges, asked, asked - static_cast<double>(measures.all[Outcome::answered]));
  count_in(sum.tries, tries, failed(measures.all));
  for (std::size_t i = 0; i < outcome_count; ++i)
    count_in(sum.outcomes[i], asked, static_cast<double>(measures.all.outcomes[i]));
  for (std::size_t i = 0; i < sum.links.size(); ++i) {
    const auto in = static_cast<double>(measures.links[i].frames_in);
    count_in(sum.links[i], in, in - static_cast<double>(measures.links[i].frames_out));
  }
  for (std::size_t i = 0; i < sum.nodes.size(); ++i) {
    count_in(sum.nodes[i], static_cast<double>(measures.nodes[i].tries), failed(measures.nodes[i]));
  }
  for (std::size_t i = 0; i < std::min(measures.topics.size(), measures.by_topic.size()); ++i) {
    const auto found = std::find(tallies_.topics.begin(), tallies_.topics.end(), measures.topics[i]);
    if (found == tallies_.topics.end()) continue;
    count_in(sum.topics[static_cast<std::size_t>(found - tallies_.topics.begin())],
             static_cast<double>(measures.by_topic[i].tries), failed(measures.by_topic[i]));
  }
  // What held when the sum was told; it may have changed within.
  if (balancing_ != unknown_bin) {
    tallies_.balancing.count(balancing_from_, tally.to);
  }
  if (balancing_ < bin_count) count_in(sum.balancing[balancing_], tries, failed(measures.all));
  measures.all.round_trip.each_bucket(
      [&](Nanos low, Nanos high, std::uint64_t times) { sum.round_trips.add(low + (high - low) / 2, times); });
  tallies_.all.add(sum);
  block_at(tally.from).add(sum);
  cycle_now().add(sum);
}

void TallyFold::end(Nanos until) { see(until); }

}  // namespace hopbench
