#include "case_run.h"

#include <algorithm>
#include <stdexcept>

#include "chain/chain.h"
#include "habits.h"
#include "measure/fan_out.h"
#include "study/as_told.h"
#include "study/sight.h"

namespace hopbench::rates {

std::uint64_t TruthFold::key(std::uint32_t entry, std::uint32_t turn, std::uint8_t attempt) {
  return (static_cast<std::uint64_t>(entry) << 40U) ^ (static_cast<std::uint64_t>(turn) << 8U) ^ attempt;
}

void TruthFold::exchange(const ExchangeObs& obs, const ExchangeTruth* truth) {
  if (truth == nullptr) return;
  for (std::size_t i = 0; i < truth->attempts.size(); ++i) {
    const AttemptTruth& each = truth->attempts[i];
    if (each.cause == Cause::none) continue;
    if (const auto mechanism = mechanism_of(each.cause)) {
      ++failures_[static_cast<std::size_t>(*mechanism)];
      if (each.link != no_link) ++links_[static_cast<std::size_t>(*mechanism)][each.link];
      if (each.station != no_station) ++nodes_[static_cast<std::size_t>(*mechanism)][each.station];
    }
    failed_[key(obs.entry, static_cast<std::uint32_t>(obs.turn), static_cast<std::uint8_t>(i))] = each;
  }
}

AttemptTruth TruthFold::why(const Incident& incident) const {
  const auto found = failed_.find(key(incident.entry, incident.turn, incident.attempt));
  return found == failed_.end() ? AttemptTruth{} : found->second;
}

const std::map<std::uint16_t, std::uint64_t>& TruthFold::links_of(Mechanism mechanism) const {
  return links_[static_cast<std::size_t>(mechanism)];
}

const std::map<std::uint16_t, std::uint64_t>& TruthFold::nodes_of(Mechanism mechanism) const {
  return nodes_[static_cast<std::size_t>(mechanism)];
}

void AnswerFold::exchange(const ExchangeObs& obs, const ExchangeTruth*) {
  const bool good = obs.outcome == Outcome::answered || obs.outcome == Outcome::stale || obs.outcome == Outcome::wrong;
  if (good && obs.node < answers_.size()) answers_[obs.node].push_back(obs.decided);
}

bool AnswerFold::any(std::uint16_t node, Nanos from, Nanos to) const {
  for (std::size_t i = 0; i < answers_.size(); ++i) {
    if (node != no_station && node != i) continue;
    if (std::any_of(answers_[i].begin(), answers_[i].end(), [&](Nanos at) { return at > from && at < to; }))
      return true;
  }
  return false;
}

Nanos AnswerFold::longest_without(Nanos until) const {
  std::vector<Nanos> all{0, until};
  for (const auto& each : answers_) all.insert(all.end(), each.begin(), each.end());
  std::sort(all.begin(), all.end());
  Nanos longest = 0;
  for (std::size_t i = 1; i < all.size(); ++i) longest = std::max(longest, all[i] - all[i - 1]);
  return longest;
}

std::unique_ptr<CaseRun> run_case(const std::string& text, bool as_told, const Between& between) {
  auto run = std::make_unique<CaseRun>(loaded(text));
  const ChainDescription& description = run->scenario.chain;
  AsTold told(run->hops_kept, &run->protocol, as_told ? TakeTold::always : TakeTold::on_real_chain);
  AtController shut(run->controller_kept, &run->protocol);
  CounterFold counting(run->protocol);
  Observed open_door(told);
  Observed shut_door(shut);
  Observed counters(counting);
  FanOut all{&open_door, &shut_door, &counters, &run->truth, &run->answers};
  Sink& sink = between ? between(all) : static_cast<Sink&>(all);
  Chain chain(run->protocol, description, description.seed, Way::repeats, Seat::simulated, sink);
  if (!chain.run_until(description.run_for)) throw std::runtime_error("the chain gets stuck");
  chain.finish({});
  run->counters = counting.counters();
  return run;
}

}  // namespace hopbench::rates
