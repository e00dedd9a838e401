#include "chain/retimer.h"

#include <algorithm>

namespace hopbench {
namespace {

const Processor* busy_one(const Processor& processor) { return processor.idle() ? nullptr : &processor; }

}  // namespace

Retimer::Retimer(Works& works, const Links& links, const Posts& posts, ControllerPost& controller)
    : works_(&works),
      links_(&links),
      posts_(&posts),
      controller_(&controller.station()),
      whole_frames_only_(
          std::all_of(posts.begin(), posts.end(), [](const auto& post) { return post->passing() == nullptr; })),
      calm_(posts.size()),
      used_(links.size()) {}

void Retimer::look_anew() { std::fill(calm_.begin(), calm_.end(), Calm{}); }

bool Retimer::calm(std::uint16_t node, const Processor& processor, Nanos from, Nanos to) {
  Calm& known = calm_[node];
  if (from < known.from || to >= known.until) known = {from, processor.calm_until(from)};
  return to < known.until;
}

/// When a station goes about what is due at `at`.
Nanos Retimer::free_at(const RecordedHop& hop, Nanos at) {
  if (hop.sender == nullptr || calm(hop.sender_node, *hop.sender, at, at)) return at;
  return hop.sender->free_at(at);
}

void Retimer::learn(Recording& recording) {
  recording.timed = explain(recording);
  if (!recording.timed) recording.hops.clear();
}

bool Retimer::explain(Recording& recording) {
  const std::vector<HopRow>& rows = recording.rows;
  const ExchangeObs& seen = *recording.seen;
  if (!whole_frames_only_ || rows.empty() || recording.attempts.size() != 1) return false;
  std::fill(used_.begin(), used_.end(), false);
  recording.hops.assign(rows.size(), {});
  recording.heard_on = recording.answer_cause = recording.answer_row = RecordedHop::itself;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const HopRow& row = rows[i];
    RecordedHop& hop = recording.hops[i];
    if (used_[row.link]) return false;  // frames might wait for one another
    used_[row.link] = true;
    Link& link = *(*links_)[row.link];
    const std::uint16_t from = works_->table[row.link].from;
    Nanos heard = seen.start;
    if (from == nobody) {
      if (i != 0) return false;
    } else {
      // A node passes on what it has heard of the same leg; otherwise it answers.
      for (const bool answering : {row.answering, false}) {
        for (std::uint16_t k = 0; k < i && hop.cause == RecordedHop::itself; ++k) {
          if (works_->table[rows[k].link].to == from && rows[k].answering == answering) hop.cause = k;
        }
      }
      if (hop.cause == RecordedHop::itself) return false;
      if (row.answering && !rows[hop.cause].answering) {
        recording.answer_cause = hop.cause;
        recording.answer_row = static_cast<std::uint16_t>(i);
      }
      heard = seen.start + recording.hops[hop.cause].known;
      hop.sender = busy_one((*posts_)[from]->station().processor());
      hop.sender_node = from;
      // Held up by a duty: nobody knows since when.
      if (hop.sender != nullptr && hop.sender->free_at(row.start - 1) != row.start - 1) return false;
    }
    hop.after = row.start - heard;
    if (hop.after < 0) return false;
    const std::uint16_t to = works_->table[row.link].to;
    hop.fetched = to != nobody && busy_one((*posts_)[to]->station().processor()) != nullptr;
    if (to == nobody) {
      if (recording.heard_on != RecordedHop::itself) return false;
      recording.heard_on = static_cast<std::uint16_t>(i);
    }
    const Nanos decided = link.decided_at(link.arrival(row.start, row.chars));
    if (decided == never) return false;
    hop.known = decided + link.end_silence() - seen.start;
  }
  if (recording.heard_on == RecordedHop::itself) return false;
  // Whether all that is so: by these rules the exchange has to come out as it was.
  recording.has_trip = seen.round_trip >= 0;
  Recording again = recording;
  ExchangeObs seen_again = seen;
  again.seen = &seen_again;
  ByEvents why{};
  if (!retime(again, seen.start, true, why)) return false;
  recording.hops = again.hops;
  recording.watched = again.watched;
  return again.rows == recording.rows && again.attempts == recording.attempts && seen_again.decided == seen.decided &&
         seen_again.closed == seen.closed && seen_again.round_trip == seen.round_trip && again.span == recording.span &&
         again.over == recording.over && again.last_edge == recording.last_edge &&
         again.answer.asked_at == recording.answer.asked_at && again.answer.filled_at == recording.answer.filled_at;
}

bool Retimer::holds(const Recording& recording, Nanos at) {
  for (const std::uint16_t i : recording.watched) {
    const RecordedHop& hop = recording.hops[i];
    const HopRow& row = recording.rows[i];
    const Nanos start = at + (row.start - recording.seen->start);
    if (hop.sender != nullptr && free_at(hop, start - hop.held) != start) return false;
    if (hop.fetched) {
      HopRow now = row;
      now.start = start;
      if (!fetches(now)) return false;
    }
    if (!hop.loose) continue;
    Link& link = *(*links_)[row.link];
    if (link.decided_at(link.arrival(start, row.chars)) - at != hop.decided) return false;
  }
  return true;
}

/// Finds the instants of all rows. `clocks`: spans that hang on clocks have to be found anew too. False, and why, if
/// one is not surely heard well.
bool Retimer::place(const Recording& recording, Nanos at, bool clocks, ByEvents& why) {
  rows_ = recording.rows;
  hops_ = recording.hops;
  for (std::size_t i = 0; i < rows_.size(); ++i) {
    HopRow& row = rows_[i];
    RecordedHop& hop = hops_[i];
    Link& link = *(*links_)[row.link];
    const Nanos due = at + (hop.cause == RecordedHop::itself ? 0 : hops_[hop.cause].known) + hop.after;
    const Nanos takes = row.end - row.start;
    row.start = hop.sender == nullptr ? due : free_at(hop, due);
    hop.held = row.start - due;
    row.end = row.start + takes;
    if (clocks) {
      const Nanos stretch = link.conditions().spec().pulse_stretch;
      const Timing heard = link.arrival(row.start, row.chars);
      row.end = heard.end();
      hop.loose = !link.surely_in_step(heard.period(), stretch);
      hop.silence = link.end_silence();
      hop.arrives = heard.start() - row.start;
      hop.books = link.over_at(heard, stretch) - heard.end();
    }
    Nanos decided = row.end;
    if (hop.fetched && !fetches(row)) {
      why = ByEvents::duty;
      return false;
    }
    if (hop.loose) decided = link.decided_at(link.arrival(row.start, row.chars));
    if (decided == never) {
      why = ByEvents::bytes;
      return false;
    }
    hop.decided = decided - at;
    hop.known = hop.decided + hop.silence;
  }
  return true;
}

/// Its receiver fetches all characters of this frame in time.
bool Retimer::fetches(const HopRow& row) {
  Link& link = *(*links_)[row.link];
  const std::uint16_t to = works_->table[row.link].to;
  const Timing heard = link.arrival(row.start, row.chars);
  return calm(to, (*posts_)[to]->station().processor(), heard.start(), heard.end()) || link.fetched_in_time(heard);
}

bool Retimer::retime(Recording& recording, Nanos at, bool clocks, ByEvents& why) {
  if (!place(recording, at, clocks, why)) return false;
  ExchangeObs& seen = *recording.seen;
  why = ByEvents::clocks;
  const auto comes_before = [](const HopRow& a, const HopRow& b) {
    return a.start < b.start || (a.start == b.start && a.link < b.link);
  };
  if (!std::is_sorted(rows_.begin(), rows_.end(), comes_before)) return false;
  const Nanos ask_end = rows_.front().end - hops_.front().arrives;
  const RecordedHop& last = hops_[recording.heard_on];
  const Nanos decided = at + last.known;
  Nanos closed = decided;
  for (std::size_t i = 0; i < rows_.size(); ++i) closed = std::max(closed, rows_[i].end + hops_[i].books);
  const Nanos next = controller_->next_after(at, decided);
  if (next < closed) return false;
  for (std::size_t i = 0; i < rows_.size(); ++i) {  // each link is free again by then
    if (rows_[i].end - hops_[i].arrives + (*links_)[rows_[i].link]->gap() > next) return false;
  }
  if (decided > ask_end + works_->chain.controller.time_out) {
    why = ByEvents::late;
    return false;
  }
  // As it is told: is anything of it new?
  const Nanos later = at - seen.start;
  bool same = seen.decided + later == decided && seen.closed + later == closed;
  for (std::size_t i = 0; i < rows_.size() && same; ++i) {
    same = recording.rows[i].start + later == rows_[i].start && recording.rows[i].end + later == rows_[i].end;
  }
  recording.renamed = recording.renamed || !same;
  seen.start = at;
  seen.decided = decided;
  seen.closed = closed;
  if (recording.has_trip) seen.round_trip = last.decided;
  recording.rows.swap(rows_);
  recording.hops.swap(hops_);
  recording.attempts.front().start = at;
  recording.attempts.front().ask_end = ask_end;
  seen.attempts = recording.attempts;
  seen.rows = recording.rows;
  recording.span = next - at;
  recording.over = closed - at;
  recording.last_edge = last.decided;
  for (Injector::Passage& passage : recording.passages) passage.to = recording.over;
  if (recording.answer.answers != 0 && recording.answer_cause != RecordedHop::itself) {
    const Nanos asked_at = recording.hops[recording.answer_cause].known;
    if (recording.answer.taken_at != never) recording.answer.taken_at += asked_at - recording.answer.asked_at;
    recording.answer.asked_at = asked_at;
    recording.answer.filled_at = recording.rows[recording.answer_row].start - at;
  }
  if (!clocks) return true;
  recording.watched.clear();
  for (std::uint16_t i = 0; i < recording.hops.size(); ++i) {
    const RecordedHop& hop = recording.hops[i];
    if (hop.loose || hop.sender != nullptr || hop.fetched) recording.watched.push_back(i);
  }
  return true;
}

}  // namespace hopbench
