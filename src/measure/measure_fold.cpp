#include <algorithm>

#include "measure/measures.h"

namespace hopbench {
namespace {

/// a + (b - c), wrapping: a made-up capture may hold any instants.
Nanos moved(Nanos a, Nanos b, Nanos c) {
  return static_cast<Nanos>(static_cast<std::uint64_t>(a) + static_cast<std::uint64_t>(b) -
                            static_cast<std::uint64_t>(c));
}

/// Two rows count alike.
bool pass_alike(const HopRow& a, const HopRow& b) {
  const auto span = [](const HopRow& row) {
    return static_cast<std::uint64_t>(row.end) - static_cast<std::uint64_t>(row.start);
  };
  return a.link == b.link && a.symptom == b.symptom && a.inherited == b.inherited && span(a) == span(b);
}

}  // namespace

void MeasureFold::begin(const RunInfo& run) {
  run_ = run;
  measures_ = Measures{};
  coverage_ = Coverage{};
  gap_ended_ = never;
  models_.clear();
  told_ = false;
  measures_.runs = 1;
  measures_.links.resize(run.links.size());
  measures_.nodes.resize(run.nodes.size() + 1);
  measures_.node_bursts.resize(run.nodes.size() + 1);
  topic_of_entry_.clear();
  for (const auto& entry : run.entries) {
    auto& topics = measures_.topics;
    const auto found = std::find(topics.begin(), topics.end(), entry.topic);
    topic_of_entry_.push_back(static_cast<std::size_t>(found - topics.begin()));
    if (found == topics.end()) topics.push_back(entry.topic);
  }
  measures_.by_topic.resize(measures_.topics.size());
  measures_.cells = cell_groups(run, groups_of_entry_);
}

void MeasureFold::restart() {
  for (Model& model : models_) model.count = model.passed = 0;
  measures_.clear();
  coverage_ = Coverage{};
}

std::size_t MeasureFold::node_of(const ExchangeObs& obs) const {
  return measures_.nodes.empty() ? 0 : std::min<std::size_t>(obs.node, measures_.nodes.size() - 1);
}

GroupSpan MeasureFold::groups_of(const ExchangeObs& obs) const {
  if (obs.outcome != Outcome::answered || obs.entry >= groups_of_entry_.size()) return {};
  return groups_of_entry_[obs.entry];
}

void MeasureFold::count_exchanges(const ExchangeObs& obs, std::uint64_t times) const {
  auto& m = measures_;
  m.all.add(obs, times);
  if (!m.nodes.empty()) m.nodes[node_of(obs)].add(obs, times);
  if (obs.entry < topic_of_entry_.size()) m.by_topic[topic_of_entry_[obs.entry]].add(obs, times);
}

void MeasureFold::count_rows(const ExchangeObs& obs, std::uint64_t times) const {
  auto& m = measures_;
  for (const auto& row : obs.rows) {
    if (row.link < m.links.size()) m.links[row.link].add(row, times);
  }
}

void MeasureFold::fold_bursts(bool answered, std::size_t node, Nanos start) {
  const auto fold = [&](BurstMeasures& bursts) {
    if (answered) {
      bursts.answered();
    } else {
      bursts.failed(start);
    }
  };
  fold(measures_.bursts);
  if (node < measures_.node_bursts.size()) fold(measures_.node_bursts[node]);
}

void MeasureFold::exchange(const ExchangeObs& obs, const ExchangeTruth*) {
  told_ = true;
  if (obs.ambiguous) ++coverage_.ambiguous;
  if (obs.doubtful) ++coverage_.doubtful;
  count_exchanges(obs, 1);
  count_rows(obs, 1);
  fold_bursts(obs.outcome == Outcome::answered, node_of(obs), obs.start);
  const auto groups = groups_of(obs);
  const Nanos seen = answer_end(obs);
  for (auto i = groups.begin; i < groups.end; ++i) measures_.cells[i].seen(seen);
  touch(obs.start, obs.closed);
}

const Measures& MeasureFold::measures() const {
  for (Model& model : models_) add_repeats(model);
  return measures_;
}

void MeasureFold::add_repeats(Model& model) const {
  if (model.count > 0) count_exchanges(model.obs, model.count);
  if (model.passed > 0) count_rows(model.obs, model.passed);
  model.count = model.passed = 0;
}

void MeasureFold::learn(Model& model, const ExchangeObs& obs) {
  // One that went the same way at other instants comes to the same for the links.
  if (model.known && std::equal(model.rows.begin(), model.rows.end(), obs.rows.begin(), obs.rows.end(), pass_alike)) {
    if (model.count > 0) count_exchanges(model.obs, model.count);
    model.count = 0;
  } else {
    add_repeats(model);
    model.rows.assign(obs.rows.begin(), obs.rows.end());
  }
  model.known = true;
  model.attempts.assign(obs.attempts.begin(), obs.attempts.end());
  model.obs = obs;
  model.obs.attempts = model.attempts;
  model.obs.rows = model.rows;
  model.obs.asked = {};
  model.obs.answered = {};
  model.seen = answer_end(obs);
  model.groups = groups_of(obs);
  model.node = node_of(obs);
  model.answered = obs.outcome == Outcome::answered;
}

void MeasureFold::again(std::span<const ExchangeObs> models, std::span<const Repeat> repeats) {
  told_ = true;
  if (models_.size() < models.size()) models_.resize(models.size());
  for (const auto& repeat : repeats) {
    if (repeat.model >= models.size()) continue;
    auto& model = models_[repeat.model];
    // The number of the exchange that was recorded names the recording.
    if (!model.known || model.obs.number != models[repeat.model].number) learn(model, models[repeat.model]);
    ++model.count;
    ++model.passed;
    touch(repeat.start, moved(model.obs.closed, repeat.start, model.obs.start));
    const Nanos seen = moved(model.seen, repeat.start, model.obs.start);
    for (auto i = model.groups.begin; i < model.groups.end; ++i) measures_.cells[i].seen(seen);
    fold_bursts(model.answered, model.node, repeat.start);
  }
}

void MeasureFold::tally(const Tally& tally) {
  if (!Measures::parse(tally.measures, tallied_) || tallied_.runs != 1 || !tallied_.same_shape(measures_) ||
      tallied_.all.asked != tally.exchanges) {
    coverage_.unreadable += tally.exchanges;
    return;
  }
  told_ = true;
  coverage_.tallied += tally.exchanges;
  coverage_.tallied_unanswered += tallied_.all.asked - tallied_.all[Outcome::answered];
  measures_.append(tallied_);
}

void MeasureFold::stray(const Stray& stray) {
  if (stray.link < measures_.links.size()) ++measures_.links[stray.link].strays;
  touch(stray.at, stray.at);
}

void MeasureFold::arrival(const Arrival& arrival) {
  measures_.arrivals += arrival.bytes.size();
  touch(arrival.at, arrival.at);
}

void MeasureFold::gap(const Gap& gap) {
  if (gap.from != gap_ended_) ++coverage_.gaps;
  gap_ended_ = gap.to;
  Coverage one;
  if (gap.to > gap.from) {
    const auto wide = static_cast<std::uint64_t>(gap.to) - static_cast<std::uint64_t>(gap.from);
    one.gap_time = static_cast<Nanos>(std::min(wide, static_cast<std::uint64_t>(never)));
  }
  coverage_.merge(one);
  blind(gap.from, gap.to);
  touch(gap.from, gap.to);
}

void MeasureFold::dropped(const Dropped& dropped) {
  coverage_.dropped += dropped.records;
  if (!told_) {
    // Before anything else: this is not the whole run but what came from then on.
    measures_.from = dropped.to;
    measures_.until = std::max(measures_.until, dropped.to);
    return;
  }
  ++coverage_.holes;
  if (dropped.to > dropped.from) {
    Coverage one;
    const auto wide = static_cast<std::uint64_t>(dropped.to) - static_cast<std::uint64_t>(dropped.from);
    one.hole_time = static_cast<Nanos>(std::min(wide, static_cast<std::uint64_t>(never)));
    coverage_.merge(one);
  }
  blind(dropped.from, dropped.to);
  touch(dropped.from, dropped.to);
}

void MeasureFold::blind_to(const ExchangeObs& obs) {
  if (obs.entry >= groups_of_entry_.size()) return;
  const GroupSpan groups = groups_of_entry_[obs.entry];
  for (auto i = groups.begin; i < groups.end; ++i) measures_.cells[i].blind(obs.start, obs.closed);
}

void MeasureFold::blind(Nanos from, Nanos to) {
  for (auto& group : measures_.cells) group.blind(from, to);
}

void MeasureFold::end(Nanos until, const Lateness& lateness) {
  measures_.until = std::max(measures_.until, until);
  measures_.lateness = lateness;
  measures_.ended = true;
}

}  // namespace hopbench
