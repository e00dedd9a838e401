#include "chain/retimer.h"

#include <algorithm>
#include <utility>

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
      paces_(links.size()),
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

/// Gives all rows their instants. `clocks`: spans that hang on clocks have to be found anew too. False, and why, if one
/// is not surely heard well; some have been given theirs by then.
bool Retimer::place(Recording& recording, Nanos at, bool clocks, ByEvents& why) {
  const Nanos later = at - recording.seen->start;
  for (std::size_t i = 0; i < recording.rows.size(); ++i) {
    HopRow& row = recording.rows[i];
    RecordedHop& hop = recording.hops[i];
    const Nanos due = at + (hop.cause == RecordedHop::itself ? 0 : recording.hops[hop.cause].known) + hop.after;
    const Nanos start = hop.sender == nullptr ? due : free_at(hop, due);
    Nanos takes = row.end - row.start;
    if (clocks) {
      const Pace& pace = pace_of(row.link);
      takes = pace.arrives + (*links_)[row.link]->char_span(row.chars);
      hop.loose = pace.loose;
      hop.silence = pace.silence;
      hop.arrives = pace.arrives;
      hop.books = pace.books;
    }
    recording.renamed = recording.renamed || start != row.start + later || takes != row.end - row.start;
    hop.held = start - due;
    row.start = start;
    row.end = start + takes;
    Nanos decided = row.end;
    if (hop.fetched && !fetches(row)) {
      why = ByEvents::duty;
      return false;
    }
    if (hop.loose) {
      Link& link = *(*links_)[row.link];
      decided = link.decided_at(link.arrival(row.start, row.chars));
    }
    if (decided == never) {
      why = ByEvents::bytes;
      return false;
    }
    hop.decided = decided - at;
    hop.known = hop.decided + hop.silence;
  }
  return true;
}

/// What clocks make of any frame over a link.
const Retimer::Pace& Retimer::pace_of(std::uint16_t index) {
  Pace& pace = paces_[index];
  if (pace.known) return pace;
  Link& link = *(*links_)[index];
  const Nanos stretch = link.conditions().spec().pulse_stretch;
  const Timing heard = link.arrival(0, 1);
  pace = {true, !link.surely_in_step(heard.period(), stretch), link.end_silence(), heard.start(),
          link.over_at(heard, stretch) - heard.end()};
  return pace;
}

/// Its receiver fetches all characters of this frame in time.
bool Retimer::fetches(const HopRow& row) {
  Link& link = *(*links_)[row.link];
  const std::uint16_t to = works_->table[row.link].to;
  const Timing heard = link.arrival(row.start, row.chars);
  return calm(to, (*posts_)[to]->station().processor(), heard.start(), heard.end()) || link.fetched_in_time(heard);
}

bool Retimer::retime(Recording& recording, Nanos at, bool clocks, ByEvents& why) {
  // Until it is done, the instants are those of nothing.
  const std::uint64_t as_of = std::exchange(recording.clocks, Recording::no_clocks);
  recording.renamed = recording.renamed || as_of == Recording::no_clocks;
  if (!place(recording, at, clocks || as_of == Recording::no_clocks, why)) return false;
  ExchangeObs& seen = *recording.seen;
  const std::vector<HopRow>& rows = recording.rows;
  const std::vector<RecordedHop>& hops = recording.hops;
  const Nanos ask_end = rows.front().end - hops.front().arrives;
  const RecordedHop& last = hops[recording.heard_on];
  const Nanos decided = at + last.known;
  const Nanos next = controller_->next_after(at, decided);
  Nanos closed = decided;
  bool in_order = true;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    closed = std::max(closed, rows[i].end + hops[i].books);
    in_order = in_order && rows[i].end - hops[i].arrives + (*links_)[rows[i].link]->gap() <= next &&
               (i == 0 || std::pair(rows[i - 1].start, rows[i - 1].link) < std::pair(rows[i].start, rows[i].link));
  }
  const Nanos later = at - seen.start;
  recording.renamed = recording.renamed || seen.decided + later != decided || seen.closed + later != closed;
  seen.start = at;
  seen.decided = decided;
  seen.closed = closed;
  if (recording.has_trip) seen.round_trip = last.decided;
  recording.attempts.front().start = at;
  recording.attempts.front().ask_end = ask_end;
  recording.span = next - at;
  recording.over = closed - at;
  recording.last_edge = last.decided;
  for (Injector::Passage& passage : recording.passages) passage.to = recording.over;
  if (recording.answer_row != RecordedHop::itself) {
    const Nanos asked_at = hops[recording.answer_cause].known;
    if (recording.answer.taken_at != never) recording.answer.taken_at += asked_at - recording.answer.asked_at;
    recording.answer.asked_at = asked_at;
    recording.answer.filled_at = rows[recording.answer_row].start - at;
  }
  recording.watched.clear();
  for (std::uint16_t i = 0; i < hops.size(); ++i) {
    if (hops[i].loose || hops[i].sender != nullptr || hops[i].fetched) recording.watched.push_back(i);
  }
  why = ByEvents::clocks;
  if (!in_order || next < closed) return false;
  why = ByEvents::late;
  if (decided > ask_end + works_->chain.controller.time_out) return false;
  recording.clocks = as_of;
  return true;
}

}  // namespace hopbench
