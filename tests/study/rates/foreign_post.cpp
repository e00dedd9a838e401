#include <algorithm>

#include "foreign.h"

namespace hopbench::rates {

void ForeignPost::begin(const RunInfo& run) {
  frames_.assign(run.links.size(), 0);
  heard_until_.assign(run.links.size(), -1);
  topics_.clear();
  for (const EntryInfo& entry : run.entries) topics_.push_back(entry.topic);
  to_->begin(run);
}

std::span<const std::uint8_t> ForeignPost::content_of(const ExchangeObs& obs, const HopRow& row, std::size_t hops) {
  content_.assign(row.answering ? obs.answered : obs.asked);
  for (std::size_t i = 0; i < hops; ++i) {
    if (!protocol_->forward_bytes(content_)) break;
  }
  return content_.view();
}

void ForeignPost::exchange(const ExchangeObs& obs, const ExchangeTruth*) {
  ExchangeObs seen = obs;
  rows_.clear();
  bool struck = false;
  std::size_t hops = 0;
  bool answering = false;
  for (const HopRow& row : obs.rows) {
    if (row.answering != answering) hops = 0;
    answering = row.answering;
    const Nanos before = heard_until_[row.link];
    const FrameOnHop frame{obs,
                           row,
                           frames_[row.link],
                           before < 0 ? -1 : row.start - before,
                           topic_before_,
                           topics_[obs.entry],
                           content_of(obs, row, hops)};
    ++frames_[row.link];
    ++hops;
    heard_until_[row.link] = row.end;
    rows_.push_back(row);
    if (!fault_->strikes(frame)) continue;
    rows_.back().symptom = fault_->symptom;
    struck = true;
    break;
  }
  seen.rows = rows_;
  seen.since_last = last_edge_ < 0 ? -1 : obs.start - last_edge_;
  last_edge_ = obs.attempts.empty() ? obs.start : obs.attempts.front().ask_end;
  topic_before_ = topics_[obs.entry];
  if (struck) {
    ++struck_;
    attempts_.assign(obs.attempts.begin(), obs.attempts.end());
    const bool came = fault_->symptom != Symptom::nothing && rows_.back().link + 1U == frames_.size();
    for (Attempt& attempt : attempts_) attempt.outcome = came ? Outcome::garbled : Outcome::lost;
    seen.attempts = attempts_;
    seen.outcome = attempts_.empty() ? Outcome::lost : attempts_.front().outcome;
    seen.round_trip = -1;
    seen.answered = {};
    seen.decided = last_edge_ + time_out_;
    seen.closed = std::max(obs.closed, seen.decided);
    if (came) last_edge_ = rows_.back().end;
  } else if (!rows_.empty()) {
    last_edge_ = rows_.back().end;
  }
  to_->exchange(seen, nullptr);
}

}  // namespace hopbench::rates
