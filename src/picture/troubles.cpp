#include "picture/troubles.h"

#include <algorithm>

namespace hopbench {

const char* name_of(StationTrouble trouble) {
  switch (trouble) {
    case StationTrouble::stopped:
      return "not passed on";
    case StationTrouble::held:
      return "held up";
    case StationTrouble::refused:
      return "refused";
    case StationTrouble::stale:
      return "stale or wrong";
    case StationTrouble::unplaced:
      return "place not seen";
  }
  return "";
}

const char* word_of(StationTrouble trouble) {
  switch (trouble) {
    case StationTrouble::stopped:
      return "stopped";
    case StationTrouble::held:
      return "late";
    case StationTrouble::refused:
      return "refused";
    case StationTrouble::stale:
      return "stale";
    case StationTrouble::unplaced:
      return "unseen";
  }
  return "";
}

Stations::Stations(const RunInfo& run) : exits_seen_(run.nodes.size() + 1, true), time_out_(run.time_out) {
  const auto station = [&](const std::string& name) {
    const auto found = std::find(run.nodes.begin(), run.nodes.end(), name);
    return static_cast<std::uint16_t>(found - run.nodes.begin());
  };
  for (const auto& link : run.links) {
    from_.push_back(station(link.from));
    to_.push_back(station(link.to));
    if (link.vantage == Vantage::unseen) exits_seen_[from_.back()] = false;
  }
}

std::optional<std::uint16_t> Stations::holder(const ExchangeObs& obs, std::size_t attempt) const {
  Nanos longest = 0;
  Nanos answered = obs.attempts[attempt].ask_end;
  std::optional<std::uint16_t> station;
  const HopRow* before = nullptr;
  for (const auto& row : obs.rows) {
    if (row.attempt != attempt || row.link >= links()) continue;
    answered = std::max(answered, row.end);
    if (before != nullptr && to_[before->link] == from_[row.link] && from_[row.link] != controller()) {
      const Nanos stay = between(before->end, row.start);
      if (stay > longest) {
        longest = stay;
        station = from_[row.link];
      }
    }
    before = &row;
  }
  // Without this stay the answer would have been in time; else the way as a whole is too long.
  if (time_out_ && longest < between(obs.attempts[attempt].ask_end, answered) - *time_out_) return std::nullopt;
  return station;
}

std::optional<Stations::Found> Stations::trouble_of(const ExchangeObs& obs, std::size_t attempt) const {
  const auto& tried = obs.attempts[attempt];
  const std::uint16_t node = obs.node < controller() ? obs.node : controller();
  switch (tried.outcome) {
    case Outcome::refused:
    case Outcome::truncated:
      return Found{StationTrouble::refused, node, tried.start};
    case Outcome::stale:
    case Outcome::wrong:
    case Outcome::mismatched:
      return Found{StationTrouble::stale, node, tried.start};
    case Outcome::bad_ask:
      return Found{StationTrouble::unplaced, controller(), tried.start};
    default:
      break;
  }
  const HopRow* last = nullptr;
  for (const auto& row : obs.rows) {
    if (row.attempt != attempt) continue;
    if (!row.heard_well()) {
      if (row.damaged_here() && row.link < links()) return std::nullopt;  // the hop shows it
      continue;
    }
    if (last == nullptr || row.start >= last->start) last = &row;
  }
  if (tried.outcome == Outcome::late) {
    if (const auto held = holder(obs, attempt)) return Found{StationTrouble::held, *held, tried.start};
  }
  if (tried.outcome == Outcome::lost && last != nullptr && last->link < links()) {
    const auto there = to_[last->link];
    if (there != controller() && exits_seen_[there]) return Found{StationTrouble::stopped, there, last->end};
  }
  return Found{StationTrouble::unplaced, node, tried.start};
}

bool Stations::trouble_at(const ExchangeObs& obs, MapPlace place) const {
  if (place.kind == MapPlace::Kind::hop) {
    return std::any_of(obs.rows.begin(), obs.rows.end(),
                       [&](const HopRow& row) { return row.link == place.index && row.damaged_here(); });
  }
  bool found = false;
  each_trouble(obs, [&](StationTrouble trouble, std::uint16_t station, Nanos) {
    found = found || (station == place.index && kind_of(trouble) == place.kind);
  });
  return found;
}

}  // namespace hopbench
