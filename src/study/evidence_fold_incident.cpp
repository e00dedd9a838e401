// One failed try as an incident: how it ended, and where.
#include <algorithm>

#include "study/evidence_fold.h"

namespace hopbench {
namespace {

Ending ending_of(Symptom symptom) {
  switch (symptom) {
    case Symptom::too_short:
      return Ending::cut_short;
    case Symptom::nothing:
      return Ending::nothing;
    case Symptom::overrun:
      return Ending::overrun;
    case Symptom::no_room:
      return Ending::no_room;
    case Symptom::none:
    case Symptom::framing:
    case Symptom::parity:
    case Symptom::check:
    case Symptom::too_long:
      break;
  }
  return Ending::damaged;
}

}  // namespace

/// Calls `tell(row, before)` for each frame of a try that a station put on its link when it had had `before` whole.
void EvidenceFold::hand_overs(const ExchangeObs& obs, std::size_t attempt,
                              const std::function<void(const HopRow&, const HopRow&)>& tell) const {
  const auto place = [&](std::uint16_t station) { return std::min<std::size_t>(station, hops_to_.size()); };
  std::vector<const HopRow*>& into = into_station_;
  into.assign(hops_to_.size() + 1, nullptr);
  for (const auto& row : obs.rows) {
    if (row.attempt != attempt || row.copy != 0 || row.link >= receiver_of_.size()) continue;
    const auto* before = into[place(sender_of_[row.link])];
    if (before != nullptr && before->end <= row.start && (row.answering || !before->answering)) tell(row, *before);
    into[place(receiver_of_[row.link])] = &row;
  }
}

std::vector<EvidenceFold::Stay> EvidenceFold::stays_of(const ExchangeObs& obs, std::size_t attempt) const {
  std::vector<Stay> stays;
  hand_overs(obs, attempt, [&](const HopRow& row, const HopRow& before) {
    stays.push_back(
        {sender_of_[row.link], row.link, row.answering, row.answering && !before.answering, row.start - before.end});
  });
  return stays;
}

Spans EvidenceFold::usual_stay(const Stay& stay, std::uint32_t entry) const {
  if (!stay.turned) return stay.station != no_station ? evidence_.relays[stay.station] : Spans{};
  Spans all;
  if (entry >= evidence_.entries.size()) return all;
  for (const auto& spans : evidence_.entries[entry].turn_around) {
    all.count += spans.count;
    all.sum += spans.sum;
  }
  return all.count > 0 ? all : turned_by_topic_[topic_of_entry_[entry]];
}

void EvidenceFold::find_delay(const std::vector<Stay>& stays, Incident& incident) const {
  for (const auto& stay : stays) {
    const auto excess = static_cast<Nanos>(static_cast<double>(stay.took) - usual_stay(stay, incident.entry).mean());
    if (excess <= incident.excess) continue;
    incident.excess = excess;
    incident.station = stay.station;
    incident.link = stay.link;
    incident.answering = stay.answering;
  }
}

/// Before anything was usual the longest stay looked like a delay, wherever it was.
void EvidenceFold::find_delays_anew() {
  for (const auto& each : early_) {
    const auto at = each.serial / evidence_.one_incident_in;
    if (each.serial % evidence_.one_incident_in != 0 || at >= evidence_.incidents.size()) continue;
    auto& incident = evidence_.incidents[at];
    incident.excess = 0;
    incident.station = incident.link = no_station;
    incident.answering = false;
    find_delay(each.stays, incident);
  }
}

/// On the row's link, frames of the same exchange included.
Nanos EvidenceFold::silence_before(const ExchangeObs& obs, const HopRow& row) const {
  Nanos until = heard_until_[ear_of(row.link)];
  for (const auto& other : obs.rows) {
    if (other.link < receiver_of_.size() && ear_of(other.link) == ear_of(row.link) && other.start < row.start)
      until = std::max(until, other.end);
  }
  return until > not_yet ? std::max<Nanos>(0, row.start - until) : -1;
}

Incident EvidenceFold::incident_of(const ExchangeObs& obs, std::size_t attempt) const {
  Incident incident;
  incident.node = obs.node < evidence_.run.nodes.size() ? obs.node : no_station;
  incident.entry = obs.entry;
  incident.turn = static_cast<std::uint32_t>(obs.turn);
  incident.attempt = static_cast<std::uint8_t>(attempt);
  Outcome outcome = obs.outcome;
  incident.at = incident.until = obs.start;
  if (attempt < obs.attempts.size()) {
    outcome = obs.attempts[attempt].outcome;
    incident.at = obs.attempts[attempt].start;
    incident.until = obs.attempts[attempt].ask_end;
    if (outcome == Outcome::answered && attempt + 1 == obs.attempts.size()) outcome = obs.outcome;
  }
  const HopRow* last = nullptr;
  for (const auto& row : obs.rows) {
    if (row.attempt != attempt || row.copy != 0 || row.link >= receiver_of_.size()) continue;
    if (row.inherited && last != nullptr && !last->inherited && last->symptom == Symptom::none) {
      incident.ending = Ending::changed;
      incident.link = row.link;
      incident.station = sender_of_[row.link];
      incident.at = row.start;
      incident.until = row.end;
      incident.answering = row.answering;
      return incident;
    }
    if (row.damaged_here()) {
      incident.ending = ending_of(row.symptom);
      incident.symptom = row.symptom;
      incident.link = row.link;
      incident.station = receiver_of_[row.link];
      incident.at = row.start;
      incident.until = row.end;
      incident.chars = row.chars;
      incident.answering = row.answering;
      incident.silence = silence_before(obs, row);
      const auto& around = bins_at(row.start);
      if (sender_of_[row.link] != no_station) incident.sender_heat = around.heat[sender_of_[row.link]];
      if (incident.station != no_station) incident.receiver_heat = around.heat[incident.station];
      return incident;
    }
    last = &row;
  }
  switch (outcome) {
    case Outcome::late:
      incident.ending = Ending::late;
      find_delay(stays_of(obs, attempt), incident);
      return incident;
    case Outcome::refused:
      incident.ending = Ending::refused;
      incident.station = incident.node;
      return incident;
    case Outcome::mismatched:
      incident.ending = Ending::mismatched;
      return incident;
    case Outcome::stale:
      incident.ending = Ending::stale;
      incident.station = incident.node;
      return incident;
    case Outcome::wrong:
      incident.ending = Ending::wrong;
      incident.station = incident.node;
      return incident;
    case Outcome::truncated:
      incident.ending = Ending::truncated;
      incident.station = incident.node;
      return incident;
    case Outcome::bad_ask:
      incident.ending = Ending::bad_ask;
      return incident;
    case Outcome::answered:
    case Outcome::garbled:
    case Outcome::lost:
      break;
  }
  if (evidence_.sight != Sight::every_hop || last == nullptr) return incident;
  incident.link = last->link;
  incident.station = receiver_of_[last->link];
  incident.at = last->start;
  incident.until = last->end;
  incident.chars = last->chars;
  incident.answering = last->answering;
  // Where edges are passed on an ask goes by its node, to the end of the chain.
  const auto into_node = std::find_if(obs.rows.begin(), obs.rows.end(), [&](const HopRow& row) {
    return row.attempt == attempt && !row.answering && row.heard_well() && row.link < receiver_of_.size() &&
           incident.node != no_station && receiver_of_[row.link] == incident.node;
  });
  if (!last->answering && into_node != obs.rows.end()) {
    incident.link = into_node->link;
    incident.station = incident.node;
    incident.at = into_node->start;
    incident.until = into_node->end;
    incident.ending = Ending::not_answered;
    return incident;
  }
  if (last->answering && incident.station == no_station) {
    incident.ending = Ending::ignored;
  } else if (incident.station != no_station) {
    incident.ending = Ending::not_passed_on;
  }
  return incident;
}

/// Frames that went well on the incident's link since the last bad one, those of this exchange included.
std::uint32_t EvidenceFold::good_before_row(const ExchangeObs& obs, const Incident& incident) {
  std::uint32_t good = good_on_link_[incident.link];
  for (const auto& row : obs.rows) {
    if (row.link != incident.link || row.inherited) continue;
    if (row.attempt == incident.attempt && row.damaged_here()) break;
    good = row.damaged_here() ? 0 : good == ~0U ? good : good + 1;
  }
  return good;
}

}  // namespace hopbench
