// What is counted of each exchange, and of sums of exchanges, without a look at how each of them went.
#include <algorithm>

#include "measure/measures.h"
#include "study/evidence_fold.h"

namespace hopbench {

void EvidenceFold::count_asked(const ExchangeObs& obs, std::uint64_t tries, std::uint64_t failures) {
  const auto add = [&](AskedOf& of) {
    of.tries += tries;
    of.failures += failures;
  };
  if (obs.node < evidence_.nodes.size()) add(evidence_.nodes[obs.node]);
  if (obs.entry < topic_of_entry_.size()) add(evidence_.by_topic[topic_of_entry_[obs.entry]]);
}

void EvidenceFold::count_lengths(const ExchangeObs& obs, std::uint32_t block, std::uint8_t expected,
                                 std::uint64_t tries, std::uint64_t failures) {
  if (obs.entry >= evidence_.entries.size()) return;
  const std::uint64_t weight = std::max<std::uint64_t>(1, obs.kept_one_in);
  const auto chars = evidence_.entries[obs.entry].chars;
  const auto come = obs.outcome == Outcome::answered && chars > 0 ? length_bin(chars) : expected;
  for (auto* blocks : {&evidence_.length_tries, &evidence_.length_failures}) {
    if (blocks->size() <= block) blocks->resize(block + 1);
  }
  if (come != unknown_bin) evidence_.length_tries[block][come] += (tries - failures) * weight;
  if (expected == unknown_bin) return;
  evidence_.length_tries[block][expected] += failures * weight;
  evidence_.length_failures[block][expected] += failures;
}

void EvidenceFold::count_held(const ExchangeObs& obs, std::size_t attempt) {
  const std::uint64_t weight = std::max<std::uint64_t>(1, obs.kept_one_in);
  hand_overs(obs, attempt, [&](const HopRow& row, const HopRow& before) {
    const auto station = sender_of_[row.link];
    if (station >= evidence_.held.size()) return;
    auto& held = evidence_.held[station];
    (row.answering && !before.answering ? held.answering : held.passing).add(row.start - before.end, weight);
  });
}

/// Turn-around at the node and hand-over at the stations between, of a try that was answered in time.
void EvidenceFold::count_times(const ExchangeObs& obs, std::size_t attempt) {
  hand_overs(obs, attempt, [&](const HopRow& row, const HopRow& before) {
    const auto station = sender_of_[row.link];
    const Nanos took = row.start - before.end;
    if (row.answering && !before.answering) {
      if (obs.entry < evidence_.entries.size()) {
        const auto cells = bins_at(row.start).balancing;
        evidence_.entries[obs.entry].turn_around[cells == unknown_bin ? 0 : std::min<std::size_t>(cells, 7)].add(took);
        turned_by_topic_[topic_of_entry_[obs.entry]].add(took);
      }
    } else if (station != no_station) {
      evidence_.relays[station].add(took);
    }
  });
  const auto& rows = obs.rows;
  const auto last = std::find_if(rows.rbegin(), rows.rend(), [&](const HopRow& row) {
    return row.attempt == attempt && row.copy == 0 && row.link < receiver_of_.size();
  });
  if (last != rows.rend() && last->answering && obs.entry < evidence_.entries.size()) {
    evidence_.entries[obs.entry].chars = last->chars;
  }
}

void EvidenceFold::tally(const Tally& tally) {
  bursts_.cut(tally.from, tally.to);
  evidence_.tallied += tally.exchanges;
  if (!started_) evidence_.from = evidence_.until = tally.from;
  started_ = true;
  evidence_.until = std::max(evidence_.until, tally.to);
  // What was last heard on a link, or went well, is in it.
  std::fill(heard_until_.begin(), heard_until_.end(), not_yet);
  Measures measures;
  if (!Measures::parse(tally.measures, measures) || measures.links.size() != evidence_.links.size() ||
      measures.nodes.size() != good_with_node_.size()) {
    return;
  }
  const auto failed = [](const ExchangeMeasures& of) { return of.tries - std::min(of.tries, of[Outcome::answered]); };
  const auto more = [](std::uint32_t& good, std::uint64_t by) {
    if (good != ~0U) good = static_cast<std::uint32_t>(std::min<std::uint64_t>(good + by, ~0U - 1));
  };
  evidence_.exchanges += measures.all.asked;
  evidence_.exchanges_failed += measures.all.asked - std::min(measures.all.asked, measures.all[Outcome::answered]);
  evidence_.tries += measures.all.tries;
  evidence_.failures += failed(measures.all);
  for (std::size_t i = 0; i < evidence_.nodes.size(); ++i) {
    evidence_.nodes[i].tries += measures.nodes[i].tries;
    evidence_.nodes[i].failures += failed(measures.nodes[i]);
  }
  for (std::size_t i = 0; i < std::min(measures.topics.size(), measures.by_topic.size()); ++i) {
    const auto found = std::find(evidence_.topics.begin(), evidence_.topics.end(), measures.topics[i]);
    if (found == evidence_.topics.end()) continue;
    auto& of = evidence_.by_topic[static_cast<std::size_t>(found - evidence_.topics.begin())];
    of.tries += measures.by_topic[i].tries;
    of.failures += failed(measures.by_topic[i]);
  }
  if (one_silence_) more(good_with_node_[0], measures.all[Outcome::answered]);
  for (std::size_t i = 0; i < measures.nodes.size() && !one_silence_; ++i) {
    more(good_with_node_[i], measures.nodes[i][Outcome::answered]);
  }
  for (std::size_t i = 0; i < measures.links.size() && evidence_.sight != Sight::controller_only; ++i) {
    auto& link = evidence_.links[i];
    link.frames += measures.links[i].frames_in;
    for (std::size_t s = 0; s < symptom_count; ++s) link.symptoms[s] += measures.links[i].symptoms[s];
    link.symptoms[symptom_count] += measures.links[i].unknown_symptoms();
    more(good_on_link_[i], measures.links[i].frames_out);
  }
}

}  // namespace hopbench
