#include <algorithm>

#include "foreign.h"
#include "support/dice.h"

namespace hopbench::rates {

void ForeignPost::begin(const RunInfo& run) {
  frames_.assign(run.links.size(), 0);
  heard_until_.assign(run.links.size(), -1);
  chars_before_.assign(run.links.size(), 0);
  topics_.clear();
  for (const EntryInfo& entry : run.entries) topics_.push_back(entry.topic);
  to_->begin(run);
}

std::span<const std::uint8_t> ForeignPost::content_of(const ExchangeObs& obs, const HopRow& row, std::size_t hops) {
  if (row.answering) {  // what is known of it is what came home
    content_.assign(obs.answered);
    for (std::size_t link = row.link; link + 1 < frames_.size(); ++link) protocol_->undo_forward(content_);
    return content_.view();
  }
  content_.assign(obs.asked);
  for (std::size_t i = 0; i < hops; ++i) {
    if (!protocol_->forward_bytes(content_)) break;
  }
  return content_.view();
}

RowDamage ForeignPost::damage_of(const FrameOnHop& frame) const {
  if (fault_->damages) return fault_->damages(frame);
  Dice dice("foreign damage", 1000 * frame.exchange.number + frame.row.link);
  const auto at = static_cast<std::uint16_t>(1 + dice.up_to(std::max<std::uint64_t>(1, frame.row.chars) - 1));
  return {0, at, static_cast<std::uint8_t>(fault_->symptom == Symptom::check ? 1U << dice.up_to(7) : 0U)};
}

void ForeignPost::exchange(const ExchangeObs& obs, const ExchangeTruth*) {
  ExchangeObs seen = obs;
  rows_.clear();
  replied_.clear();
  damage_.clear();
  bool struck = false;
  std::size_t hops = 0;
  bool answering = false;
  for (const HopRow& row : obs.rows) {
    if (row.answering != answering) hops = 0;
    answering = row.answering;
    const Nanos before = heard_until_[row.link];
    const auto content = content_of(obs, row, hops);
    if (answering && hops == 0) replied_.assign(content.begin(), content.end());
    const FrameOnHop frame{obs,
                           row,
                           frames_[row.link],
                           before < 0 ? -1 : row.start - before,
                           topic_before_,
                           topics_[obs.entry],
                           node_before_,
                           chars_before_[row.link],
                           content};
    ++frames_[row.link];
    chars_before_[row.link] = row.chars;
    heard_until_[row.link] = row.end;
    rows_.push_back(row);
    if (!fault_->strikes(frame)) {
      ++hops;
      continue;
    }
    rows_.back().symptom = fault_->symptom;
    if (!answering || hops == 0) replied_.clear();  // it came well over no hop
    if (fault_->symptom != Symptom::nothing) {
      damage_.push_back(damage_of(frame));
      damage_.back().row = static_cast<std::uint32_t>(rows_.size() - 1);
    }
    struck = true;
    break;
  }
  seen.rows = rows_;
  seen.since_last = last_edge_ < 0 ? -1 : obs.start - last_edge_;
  last_edge_ = obs.attempts.empty() ? obs.start : obs.attempts.front().ask_end;
  topic_before_ = topics_[obs.entry];
  node_before_ = obs.node;
  if (struck) {
    ++struck_;
    attempts_.assign(obs.attempts.begin(), obs.attempts.end());
    const bool came = fault_->symptom != Symptom::nothing && rows_.back().link + 1U == frames_.size();
    for (Attempt& attempt : attempts_) attempt.outcome = came ? Outcome::garbled : Outcome::lost;
    seen.attempts = attempts_;
    seen.outcome = attempts_.empty() ? Outcome::lost : attempts_.front().outcome;
    seen.round_trip = -1;
    seen.answered = {};
    seen.replied = replied_;
    seen.damage = damage_;
    seen.decided = last_edge_ + time_out_;
    seen.closed = std::max(obs.closed, seen.decided);
    if (came) last_edge_ = rows_.back().end;
  } else if (!rows_.empty()) {
    last_edge_ = rows_.back().end;
  }
  to_->exchange(seen, nullptr);
}

}  // namespace hopbench::rates
