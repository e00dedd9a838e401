#include "books/trace.h"

#include <algorithm>
#include <tuple>

#include "books/late.h"

namespace hopbench {

Trace& Traces::open(std::uint32_t entry, std::uint64_t turn, std::uint16_t node, Nanos start) {
  std::unique_ptr<Trace> trace;
  if (spare_.empty()) {
    trace = std::make_unique<Trace>();
  } else {
    trace = std::move(spare_.back());
    spare_.pop_back();
  }
  trace->number = next_number_++;
  trace->entry = entry;
  trace->turn = turn;
  trace->node = node;
  trace->start = start;
  trace->since_last = -1;
  trace->decided = never;
  trace->round_trip = -1;
  trace->outcome = Outcome::lost;
  trace->ends_at_last_node = false;
  trace->everyone = false;
  trace->alive = 0;
  trace->attempts.clear();
  trace->notes.clear();
  trace->rows.clear();
  trace->row_state.clear();
  trace->row_over.clear();
  trace->row_truths.clear();
  trace->strikes.clear();
  trace->damage.clear();
  trace->asked.clear();
  trace->answered.clear();
  trace->replied.clear();
  open_.push_back(std::move(trace));
  return *open_.back();
}

Trace* Traces::find_earlier(std::uint64_t number) {
  // Where answers are held back long, very many are open.
  const auto place = std::lower_bound(open_.begin(), open_.end(), number,
                                      [](const auto& trace, std::uint64_t wanted) { return trace->number < wanted; });
  return place == open_.end() || (*place)->number != number ? nullptr : place->get();
}

void Traces::attempt(Trace& trace, Nanos start, Nanos ask_end) {
  trace.attempts.push_back({start, ask_end, Outcome::lost});
  trace.notes.emplace_back();
}

TryNotes* Traces::notes(std::uint64_t number, std::uint8_t attempt) {
  Trace* trace = find(number);
  return trace == nullptr || attempt >= trace->notes.size() ? nullptr : &trace->notes[attempt];
}

void Traces::blame(std::uint64_t number, std::uint8_t attempt, const Blame& blame) {
  TryNotes* notes = this->notes(number, attempt);
  if (notes == nullptr || notes->truth.cause != Cause::none) return;
  notes->truth = {blame.cause, blame.station, blame.link, blame.fault};
}

bool Traces::only_runs_on(const Passport& frame, const Blame& why) {
  const Trace* trace = find(frame.exchange);
  const TryNotes* notes = this->notes(frame.exchange, frame.key.attempt);
  return notes != nullptr && notes->taken && !frame.key.answering && why.station != trace->node;
}

void Traces::blame(const Passport& frame, const Blame& why) {
  if (!only_runs_on(frame, why)) blame(frame.exchange, frame.key.attempt, why);
}

void Traces::suspect(const Passport& frame, const Blame& why) {
  if (!only_runs_on(frame, why)) suspect(frame.exchange, frame.key.attempt, why);
}

void Traces::suspect(std::uint64_t number, std::uint8_t attempt, const Blame& blame) {
  TryNotes* notes = this->notes(number, attempt);
  if (notes != nullptr && notes->suspect.cause == Cause::none) notes->suspect = blame;
}

void Traces::struck(std::uint64_t number, const FaultStrike& strike) {
  if (Trace* trace = find(number)) trace->strikes.push_back(strike);
}

std::uint32_t Traces::add_row(std::uint64_t number, const HopRow& row) {
  Trace* trace = find(number);
  if (trace == nullptr) return 0xffffffff;
  trace->rows.push_back(row);
  trace->row_state.push_back(0);
  trace->row_over.push_back(false);
  return static_cast<std::uint32_t>(trace->rows.size() - 1);
}

void Traces::row_heard_something(std::uint64_t number, std::uint32_t row) {
  Trace* trace = find(number);
  if (trace == nullptr || row >= trace->rows.size()) return;
  trace->row_state[row] = std::max<std::uint8_t>(trace->row_state[row], 1);
}

void Traces::resolve_row(std::uint64_t number, std::uint32_t row, Symptom symptom) {
  Trace* trace = find(number);
  if (trace == nullptr || row >= trace->rows.size()) return;
  trace->rows[row].symptom = symptom;
  trace->row_state[row] = 2;
}

void Traces::row_damaged(std::uint64_t number, const RowDamage& damage) {
  Trace* trace = find(number);
  if (trace != nullptr && damage.row < trace->rows.size()) trace->damage.push_back(damage);
}

void Traces::answer_heard(std::uint64_t number, std::uint32_t row, const Content& content) {
  Trace* trace = find(number);
  if (trace == nullptr || row >= trace->rows.size()) return;
  const HopRow& heard = trace->rows[row];
  if (!heard.answering || heard.inherited) return;
  const auto before = std::any_of(trace->rows.begin(), trace->rows.begin() + row, [&](const HopRow& each) {
    return each.answering && each.attempt == heard.attempt && each.copy == heard.copy;
  });
  if (!before) trace->replied = content;
}

void Traces::row_over(std::uint64_t number, std::uint32_t row) {
  Trace* trace = find(number);
  if (trace != nullptr && row < trace->rows.size()) trace->row_over[row] = true;
}

void Traces::add_truth(std::uint64_t number, const RowTruth& truth) {
  Trace* trace = find(number);
  if (trace == nullptr || truth.row >= trace->rows.size()) return;
  trace->row_truths.push_back(truth);
}

void Traces::hold(std::uint64_t number) {
  if (Trace* trace = find(number)) ++trace->alive;
}

void Traces::release(std::uint64_t number, Nanos now) {
  Trace* trace = find(number);
  if (trace == nullptr) return;
  --trace->alive;
  if (trace->alive == 0 && trace->is_decided()) close(*trace, now);
}

void Traces::decide(Trace& trace, Nanos now, Outcome outcome) {
  trace.outcome = outcome;
  trace.decided = now;
  if (trace.alive == 0) close(trace, now);
}

void Traces::close_now(std::uint64_t number, Nanos now) {
  Trace* trace = find(number);
  if (trace == nullptr || !trace->is_decided()) return;
  if (trace->alive > 0) ++closed_early_;
  close(*trace, now);
}

void Traces::close_all(Nanos now, bool undecided) {
  while (!open_.empty()) {
    Trace& trace = *open_.front();
    if (!trace.is_decided()) {
      if (!undecided) {
        open_.pop_front();
        continue;
      }
      trace.decided = now;
    }
    close(trace, now);
  }
}

void Traces::settle_tries(Trace& trace, Nanos now) const {
  for (std::size_t i = 0; i < trace.attempts.size(); ++i) {
    TryNotes& notes = trace.notes[i];
    Attempt& attempt = trace.attempts[i];
    // Still on its way when the record is closed, it counts as sent.
    if (trace.ends_at_last_node && trace.alive == 0 && attempt.outcome == Outcome::answered && !notes.went_all_way) {
      attempt.outcome = Outcome::lost;
      if (i + 1 == trace.attempts.size()) trace.outcome = Outcome::lost;
    }
    if (attempt.outcome == Outcome::answered) {
      notes.truth = {};
      continue;
    }
    if (notes.truth.cause != Cause::none) continue;
    if (notes.came_round && !notes.answered) {
      notes.truth = {trace.everyone ? Cause::chain_time : Cause::no_address, nobody, nobody, no_fault};
    } else if (trace.alive > 0) {
      // Nobody knows when its answer would have come, but for that it would have been too late.
      const Nanos late_by = std::max<Nanos>(1, now - attempt.ask_end - chain_->controller.time_out);
      const Blame why = late_blame(notes.holdups, late_by, trace.node, chain_->faults);
      notes.truth = {why.cause, why.station, why.link, why.fault};
    } else if (notes.suspect.cause != Cause::none) {
      notes.truth = {notes.suspect.cause, notes.suspect.station, notes.suspect.link, notes.suspect.fault};
    }
  }
  // A try whose wait was ended by another one's answer shares what was wrong with that.
  for (std::size_t i = 0; i < trace.attempts.size(); ++i) {
    for (std::size_t k = 0; k < trace.attempts.size() && trace.attempts[i].outcome != Outcome::answered; ++k) {
      if (trace.notes[i].truth.cause != Cause::none) break;
      if (trace.attempts[k].outcome == trace.attempts[i].outcome) trace.notes[i].truth = trace.notes[k].truth;
    }
  }
}

namespace {

auto row_key(const HopRow& row) { return std::tuple(row.start, row.link, row.attempt, row.answering, row.copy); }

/// What became of the frame is known, or it is over.
bool is_known(const Trace& trace, std::size_t row) { return trace.row_over[row] || trace.row_state[row] == 2; }

}  // namespace

void Traces::put_rows_in_order(Trace& trace) {
  for (std::size_t i = 0; i < trace.rows.size(); ++i) {
    if (trace.row_state[i] == 0) trace.rows[i].symptom = Symptom::nothing;
    if (trace.row_state[i] == 1) trace.rows[i].symptom = Symptom::too_short;
  }
  const auto whole = [&](const RowDamage& each) {
    return trace.rows[each.row].symptom == Symptom::none || trace.rows[each.row].inherited;
  };
  std::erase_if(trace.damage, whole);
  // Rows were added as frames set out, which two ways of running may interleave differently at equal times.
  // Mostly they are in order.
  bool in_order = true;
  for (std::size_t i = 0; i < trace.rows.size() && in_order; ++i) {
    in_order = is_known(trace, i) && (i == 0 || row_key(trace.rows[i - 1]) <= row_key(trace.rows[i]));
  }
  if (!in_order) sort_rows(trace);
  std::sort(trace.row_truths.begin(), trace.row_truths.end(), [](const RowTruth& a, const RowTruth& b) {
    return std::tuple(a.row, a.cause, a.fault, a.bit) < std::tuple(b.row, b.cause, b.fault, b.bit);
  });
  std::sort(trace.strikes.begin(), trace.strikes.end());
  // Stable, in place: std::stable_sort would allocate with each failure.
  for (auto next = trace.damage.begin(); next != trace.damage.end(); ++next) {
    const auto place = std::upper_bound(trace.damage.begin(), next, *next,
                                        [](const RowDamage& a, const RowDamage& b) { return a.row < b.row; });
    std::rotate(place, next, next + 1);
  }
  const auto same_row = [](const RowDamage& a, const RowDamage& b) { return a.row == b.row; };
  trace.damage.erase(std::unique(trace.damage.begin(), trace.damage.end(), same_row), trace.damage.end());
}

void Traces::sort_rows(Trace& trace) {
  order_.clear();
  for (std::uint32_t i = 0; i < trace.rows.size(); ++i) {
    if (is_known(trace, i)) order_.push_back(i);
  }
  std::sort(order_.begin(), order_.end(), [&](std::uint32_t a, std::uint32_t b) {
    return std::tuple(row_key(trace.rows[a]), a) < std::tuple(row_key(trace.rows[b]), b);
  });
  constexpr std::uint32_t left_out = 0xffffffff;
  place_.assign(trace.rows.size(), left_out);
  sorted_.clear();
  for (std::uint32_t i = 0; i < order_.size(); ++i) {
    place_[order_[i]] = i;
    sorted_.push_back(trace.rows[order_[i]]);
  }
  trace.rows.swap(sorted_);
  std::erase_if(trace.row_truths, [&](const RowTruth& truth) { return place_[truth.row] == left_out; });
  for (RowTruth& truth : trace.row_truths) truth.row = place_[truth.row];
  std::erase_if(trace.damage, [&](const RowDamage& damage) { return place_[damage.row] == left_out; });
  for (RowDamage& damage : trace.damage) damage.row = place_[damage.row];
}

void Traces::tell(const Trace& trace, Nanos now) {
  ExchangeObs seen;
  seen.number = trace.number;
  seen.entry = trace.entry;
  seen.turn = trace.turn;
  seen.node = trace.node;
  seen.start = trace.start;
  seen.decided = trace.decided;
  seen.closed = now;
  seen.round_trip = trace.round_trip;
  seen.since_last = trace.since_last;
  seen.outcome = trace.outcome;
  seen.attempts = trace.attempts;
  seen.rows = trace.rows;
  seen.asked = trace.asked.view();
  seen.answered = trace.answered.view();
  if (never_came_well(seen.outcome)) seen.replied = trace.replied.view();
  seen.damage = trace.damage;
  truths_.clear();
  for (const TryNotes& notes : trace.notes) truths_.push_back(notes.truth);
  const ExchangeTruth truth{trace.row_truths, truths_, trace.strikes};
  sink_->exchange(seen, &truth);
}

void Traces::close(Trace& trace, Nanos now) {
  settle_tries(trace, now);
  put_rows_in_order(trace);
  ++closed_;
  if (taker_ != nullptr) {
    taker_->closed(trace, now);
  } else {
    tell(trace, now);
  }
  const auto place = std::find_if(open_.begin(), open_.end(), [&](const auto& each) { return each.get() == &trace; });
  spare_.push_back(std::move(*place));
  open_.erase(place);
}

void Traces::keep(Archive& archive) {
  constexpr std::uint64_t most = std::uint64_t{1} << 62U;
  archive.number("exchanges", next_number_, std::uint64_t{0}, most);
  archive.number("closed", closed_, std::uint64_t{0}, next_number_);
}

}  // namespace hopbench
