#include "chain/controller_post.h"

#include <algorithm>

#include "books/late.h"
#include "line/clock.h"

namespace hopbench {

ControllerPost::ControllerPost(Works& works)
    : works_(&works),
      period_(period_of(works.chain.controller.clock, works.protocol.line().baud, works.luck,
                        name_hash(works.chain.controller.name))),
      controller_(works.protocol, works.chain, works.table, works.luck, *this) {}

void ControllerPost::wake(Nanos at, Rank rank, std::uint8_t port, std::uint64_t what) {
  works_->queue.push(at, rank, Works::controller_entity, port, *this, what);
}

bool ControllerPost::is_over(Nanos /*at*/, std::uint64_t what) const {
  return what >= closes ? works_->traces.find(what - closes) == nullptr : controller_.is_over(what);
}

void ControllerPost::on_event(Nanos now, std::uint64_t what) {
  if (what >= closes) {
    works_->traces.close_now(what - closes, now);
  } else {
    controller_.on_wake(now, what);
  }
}

void ControllerPost::begin(const Asking& asking, const Frame& ask) {
  Trace& trace = works_->traces.open(asking.entry, asking.turn, asking.node, now());
  exchange_ = trace.number;
  entry_hash_ = asking.entry_hash;
  turn_ = asking.turn;
  trace.since_last = asking.since_last;
  trace.everyone = asking.node == nobody;
  trace.ends_at_last_node = asking.nothing_comes_back;
  works_->protocol.encode(ask, trace.asked);
}

ControllerPost::Sending ControllerPost::ask(const Frame& ask, bool reads) {
  Trace& trace = *works_->traces.find(exchange_);
  const auto attempt = static_cast<std::uint8_t>(trace.attempts.size());
  Parcel parcel;
  parcel.frame = ask;
  parcel.passport.key = {entry_hash_, turn_, attempt, false, 0};
  parcel.passport.exchange = exchange_;
  if (!reads) {
    parcel.raw = true;
    works_->protocol.encode(ask, parcel.content);
  }
  // The try must be known before the frame sets out, for what may happen to it at once.
  const Nanos free = first_->free_from();
  works_->traces.attempt(trace, free, free);
  const Sent sent = first_->send(parcel);
  trace.attempts.back().ask_end = sent.end;
  if (attempt == 0) trace.start = sent.start;
  if (listener_ != nullptr) tell_listener(ask, sent);
  return {sent.start, sent.end};
}

/// The ask as its bytes read on the wire.
void ControllerPost::tell_listener(const Frame& ask, const Sent& sent) const {
  Content content;
  works_->protocol.encode(ask, content);
  Frame read;
  const bool good = works_->protocol.parse(content.view(), read) == Damage::none;
  listener_->sent({works_->table.first(), sent.start, sent.end, works_->protocol.wire_chars(ask),
                   good ? Symptom::none : Symptom::check, &read, &content, no_mark, sent.start});
}

void ControllerPost::heard(Nanos now, std::uint16_t link, const Finding& finding, Symptom symptom,
                           const Flight* flight) {
  if (listener_ != nullptr) {
    Content content;
    listener_->heard(sighting_of(works_->protocol, now, link, finding, symptom, content));
  }
  in_hand_ = {};
  in_hand_.finding = &finding;
  in_hand_.symptom = symptom;
  in_hand_.link = link;
  if (flight != nullptr) {
    in_hand_.known = true;
    in_hand_.passport = flight->parcel.passport;
    in_hand_.end = flight->heard.end();
    const FrameKey& key = in_hand_.passport.key;
    if (symptom == Symptom::none && !key.answering) {
      if (TryNotes* notes = works_->traces.notes(in_hand_.passport.exchange, key.attempt)) notes->came_round = true;
    }
  }
  controller_.on_hearing(now, {link, finding.first_edge, finding.end, symptom, &finding.frame, &finding.content});
}

void ControllerPost::cannot_read() {
  Trace& trace = *works_->traces.find(exchange_);
  if (in_hand_.symptom == Symptom::none) {
    works_->protocol.encode(in_hand_.finding->frame, trace.answered);
  } else {
    trace.answered = in_hand_.finding->content;
  }
}

void ControllerPost::try_fails(Outcome outcome, Cause why) {
  Trace& trace = *works_->traces.find(exchange_);
  const auto attempt = static_cast<std::uint8_t>(trace.attempts.size() - 1);
  if (why != Cause::none) works_->traces.blame(exchange_, attempt, {why, nobody, nobody, no_fault});
  trace.attempts.back().outcome = outcome;
}

void ControllerPost::gives_up(Outcome outcome) {
  Trace& trace = *works_->traces.find(exchange_);
  if (outcome == Outcome::answered) trace.attempts.back().outcome = outcome;
  decide(trace, outcome);
}

void ControllerPost::decide(Trace& trace, Outcome outcome) {
  const std::uint64_t number = exchange_;
  exchange_ = no_exchange;
  const Nanos window = works_->chain.controller.late_window;
  const bool waits = window > 0 && trace.alive > 0;
  works_->traces.decide(trace, now(), outcome);
  if (waits) {
    works_->queue.push(now() + window, Rank::release, Works::controller_entity, 0, *this, closes + number);
  }
}

/// What the controller takes for the answer may be another one, or not what the node sent or meant. That is for the
/// record; the controller cannot know.
Outcome ControllerPost::judge(const Trace& trace, bool mine, Outcome outcome, Blame& blame) const {
  const ControllerSpec& spec = works_->chain.controller;
  const Passport& passport = in_hand_.passport;
  if (outcome == Outcome::refused) return outcome;  // whoever refused has been named when it did
  if (!mine) {
    // It answers an earlier exchange: the same question asked before gives old values, another one gives wrong ones.
    blame.cause = Cause::earlier_answer;
    if (passport.forged_by != no_fault) blame = forged(passport, works_->chain.faults);
    return passport.key.entry_hash == entry_hash_ ? Outcome::stale : Outcome::wrong;
  }
  if (!passport.key.answering) {
    if (trace.node == nobody) return outcome;  // asked of everyone, and come round
    blame.cause = Cause::unclaimed;            // its own ask came round and passed for an answer
    return Outcome::wrong;
  }
  if (passport.fake || fingerprint(in_hand_.finding->frame.payload) != passport.said) {
    if (passport.forged_by != no_fault) {
      blame = forged(passport, works_->chain.faults);
    } else if (passport.flawed_by != nobody) {
      blame = {Cause::design_flaw, passport.flawed_by, nobody, no_fault};
    }
    return Outcome::wrong;
  }
  if (passport.outdated) {
    blame = {Cause::design_flaw, passport.flawed_by, nobody, no_fault};
    return Outcome::stale;
  }
  if (outcome == Outcome::truncated) {
    blame = {Cause::truncated, trace.node, nobody, no_fault};
    return outcome;
  }
  if (spec.exact_within_uv > 0 && passport.off_by_uv > spec.exact_within_uv) {
    blame = {Cause::bleeding, trace.node, nobody, no_fault};
    return Outcome::wrong;
  }
  if (spec.fresh_within > 0 && passport.taken_at != never && now() - passport.taken_at > spec.fresh_within) {
    blame.cause = Cause::old_snapshot;
    return Outcome::stale;
  }
  return outcome;
}

void ControllerPost::takes(Outcome outcome, const Frame& frame) {
  Trace& trace = *works_->traces.find(exchange_);
  if (trace.node != nobody) works_->protocol.encode(frame, trace.answered);
  if (answer_record_ != nullptr) *answer_record_ = frame;
  const Passport& passport = in_hand_.passport;
  const bool mine = in_hand_.known && passport.exchange == exchange_ && passport.key.attempt < trace.attempts.size();
  const std::size_t attempt = mine ? passport.key.attempt : trace.attempts.size() - 1;
  Attempt& tried = trace.attempts[attempt];
  Blame blame;
  if (in_hand_.known) outcome = judge(trace, mine, outcome, blame);
  if (in_hand_.known && !mine && outcome != Outcome::refused) came_late();
  tried.outcome = outcome;
  const Nanos end = in_hand_.finding->end;
  if (outcome == Outcome::answered && mine && end > tried.ask_end + works_->chain.controller.time_out) {
    tried.outcome = Outcome::late;  // taken all the same: the exchange was still open
    blame = why_late(trace, tried);
  }
  trace.round_trip = end > tried.start ? end - tried.start : -1;
  // With it the wait of a later try is over too.
  Attempt& waiting = trace.attempts.back();
  if (attempt + 1 != trace.attempts.size()) waiting.outcome = outcome;
  if (blame.cause != Cause::none) settle(exchange_, static_cast<std::uint8_t>(attempt), blame);
  decide(trace, outcome);
}

/// A good answer came: damage to something of the try on the way did no harm, and is not the reason.
void ControllerPost::settle(std::uint64_t exchange, std::uint8_t attempt, const Blame& blame) {
  if (TryNotes* notes = works_->traces.notes(exchange, attempt)) {
    notes->truth = {blame.cause, blame.station, blame.link, blame.fault};
  }
}

Blame ControllerPost::why_late(const Trace& trace, const Attempt& attempt) const {
  // Where a silence ends a frame, it is known to be there only after that.
  const Nanos known = in_hand_.end + works_->protocol.end_silence(period_);
  const Nanos late_by = known - attempt.ask_end - works_->chain.controller.time_out;
  if (late_by <= 0 && !controller_.processor().idle()) return {Cause::controller_busy, nobody, nobody, no_fault};
  return late_blame(in_hand_.passport.holdups, late_by, trace.node, works_->chain.faults);
}

/// A good answer that is not for the exchange at hand, or comes when none is: perhaps an earlier one waited for it.
void ControllerPost::came_late() {
  const Passport& passport = in_hand_.passport;
  if (passport.fake || passport.unfit) return;
  Trace* trace = works_->traces.find(passport.exchange);
  if (trace == nullptr || passport.key.attempt >= trace->attempts.size()) return;
  // What is asked of everyone is its own answer when it has come round.
  if (!passport.key.answering && !(trace->everyone && trace->is_decided())) return;
  const std::uint8_t number = passport.key.attempt;
  Attempt& attempt = trace->attempts[number];
  const auto nothing_came = [](Outcome outcome) {
    return outcome == Outcome::lost || outcome == Outcome::garbled || outcome == Outcome::mismatched;
  };
  if (nothing_came(attempt.outcome)) {
    attempt.outcome = Outcome::late;
    const Blame late = why_late(*trace, attempt);
    const bool too_late = in_hand_.end > attempt.ask_end + works_->chain.controller.time_out;
    if (too_late) {
      settle(passport.exchange, number, late);
    } else {
      works_->traces.blame(passport.exchange, number, late);
    }
  }
  if (trace->is_decided() && nothing_came(trace->outcome)) {
    trace->outcome = Outcome::late;
    if (trace->everyone) return;
    works_->protocol.encode(in_hand_.finding->frame, trace->answered);
  }
}

void ControllerPost::has_no_use() {
  const Finding& finding = *in_hand_.finding;
  const std::uint64_t belongs = in_hand_.known ? in_hand_.passport.exchange : no_exchange;
  const bool open = exchange_ != no_exchange;
  bool stray = !open;
  if (in_hand_.symptom != Symptom::none) {
    stray = belongs == no_exchange || !open;
  } else if (in_hand_.known && !in_hand_.passport.key.answering) {
    stray = true;  // an ask that nobody claimed
    came_late();
  } else if (in_hand_.known) {
    came_late();
    const Trace* trace = works_->traces.find(belongs);
    stray = stray || (trace != nullptr && trace->everyone && in_hand_.passport.flawed_by != nobody);
  }
  if (!stray) return;
  Content heard = finding.content;
  if (heard.empty()) works_->protocol.encode(finding.frame, heard);
  works_->tap.stray({finding.end, in_hand_.link, heard.view(), in_hand_.symptom, belongs});
}

}  // namespace hopbench
