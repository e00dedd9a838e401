// What a controller makes of what it hears: the answer that it waits for, a late one, damage, something else.
#include <algorithm>

#include "chain/controller.h"
#include "chain/link.h"
#include "chain/node.h"
#include "scenario/quantity.h"

namespace hopbench {

namespace {

/// Takes down the voltages of cells that an answer tells.
class CellListener final : public Protocol::RegisterWriter {
 public:
  CellListener(Balancer& balancer, std::uint16_t node, Nanos at) : balancer_(&balancer), node_(node), at_(at) {}
  void write(std::string_view quantity, std::uint32_t index, std::int64_t value) override {
    const auto found = quantity_named(quantity);
    if (found == Quantity::cell_mv) balancer_->read(node_, index, value * 1000, at_);
    if (found == Quantity::cell_uv) balancer_->read(node_, index, value, at_);
  }

 private:
  Balancer* balancer_;
  std::uint16_t node_;
  Nanos at_;
};

}  // namespace

void Controller::learn(std::uint16_t node, const Frame& answer, std::span<const std::uint8_t> asked, Nanos at) {
  if (!balancer_ || node == nobody) return;
  CellListener listener(*balancer_, node, at);
  (void)world_->protocol.told(answer, asked, listener);
}

bool Controller::fits(const Frame& frame) const {
  const Protocol& protocol = world_->protocol;
  const auto topic = protocol.topic(frame);
  if (!topic || *topic != entries_[entry_].topic) return false;
  const RolesSpec& roles = protocol.description().roles;
  const auto sender = roles.source.empty() ? (roles.distance.empty() ? protocol.destination(frame) : std::nullopt)
                                           : protocol.source(frame);
  if (sender && *sender != expected_sender_) return false;
  if (spec_->on_late == OnLate::accept) return true;
  const auto named = protocol.exchange(frame);
  return !named || *named == protocol.exchange(ask_);
}

void Controller::on_heard(Nanos now, std::uint16_t link, const Heard& heard) {
  const Finding& finding = *heard.finding;
  if (spec_->timer_first && exchange_ != no_exchange && state_ == State::waiting && now > deadline_) {
    // It comes from something else, and looks at its timer before its receiver.
    world_->traces.blame(exchange_, attempt_, {Cause::controller_busy, nobody, nobody, no_fault});
    ++generation_;
    try_failed(now);
  }
  last_edge_ = finding.end;
  const Protocol& protocol = world_->protocol;
  const bool open = exchange_ != no_exchange;
  const std::uint64_t belongs = heard.flight == nullptr ? no_exchange : heard.flight->parcel.exchange;
  const Stray stray{finding.end, link, finding.content.view(), heard.symptom, belongs};
  if (!heard.good()) {
    if (!open || state_ != State::waiting) {
      if (belongs == no_exchange || !open) world_->sink.stray(stray);
      return;
    }
    garbled_ = true;
    world_->traces.find(exchange_)->answered = finding.content;
    if (spec_->retry_garbled_at_once) {
      ++generation_;
      try_failed(now);
    }
    return;
  }
  const bool role_on_wire = protocol.description().roles.tell_role == TellRole::by_field;
  const bool everyone = open && entries_[entry_].plan.node == nobody;
  const bool own_ask = heard.flight != nullptr && !heard.flight->parcel.key.answering;
  if (own_ask) world_->traces.came_round(belongs, heard.flight->parcel.key.attempt);
  if (everyone && own_ask && belongs == exchange_) {  // it has come round
    Trace* trace = world_->traces.find(exchange_);
    Attempt& attempt = trace->attempts[heard.flight->parcel.key.attempt];  // perhaps an earlier try's
    attempt.outcome = Outcome::answered;
    trace->round_trip = finding.end - attempt.start;
    finish(now, Outcome::answered);
    return;
  }
  if (role_on_wire && finding.frame.role == Role::ask) {
    world_->sink.stray(stray);  // nobody claimed it
    return;
  }
  if (open && fits(finding.frame) && (state_ == State::waiting || spec_->on_late != OnLate::ignore)) {
    if (accept(now, heard)) return;
    garbled_ = true;
    if (own_ask)
      world_->traces.blame(belongs, heard.flight->parcel.key.attempt, {Cause::unclaimed, nobody, nobody, no_fault});
    return;
  }
  if (open && state_ == State::waiting) mismatched_ = true;
  came_late(now, heard);
  if (!open) world_->sink.stray(stray);
}

/// Takes the frame for the answer. Returns false if its payload cannot be read.
bool Controller::accept(Nanos now, const Heard& heard) {
  const Finding& finding = *heard.finding;
  const Protocol& protocol = world_->protocol;
  Trace* trace = world_->traces.find(exchange_);
  Frame frame = finding.frame;
  if (frame.role == Role::ask) frame.role = Role::answer;
  const bool refused = frame.role == Role::refusal;
  if (!refused && !protocol.read(frame, Protocol::Side::answer, read_)) {
    protocol.encode(finding.frame, trace->answered);
    return false;
  }
  protocol.encode(finding.frame, trace->answered);
  if (answer_record_ != nullptr) *answer_record_ = finding.frame;
  Outcome outcome = refused ? Outcome::refused : Outcome::answered;
  std::uint8_t attempt = attempt_;
  Blame blame;
  if (heard.flight != nullptr) {
    const Parcel& parcel = heard.flight->parcel;
    const bool mine = parcel.exchange == exchange_ && parcel.key.attempt < trace->attempts.size();
    if (mine) attempt = parcel.key.attempt;
    if (refused) {
      // Whoever refused has been named when it did.
    } else if (!mine) {
      // It answers an earlier exchange: the same question asked before gives old values, another one gives wrong ones.
      outcome = parcel.key.entry_hash == entries_[entry_].hash ? Outcome::stale : Outcome::wrong;
      blame.cause = Cause::earlier_answer;
    } else if (!parcel.key.answering) {
      outcome = Outcome::wrong;  // its own ask came round and passed for an answer
      blame.cause = Cause::unclaimed;
    } else if (parcel.fake || finding.frame.payload != trace->sent_payloads[attempt]) {
      outcome = Outcome::wrong;
      blame = {heard.flight->injected.cause, nobody, heard.flight->link, heard.flight->injected.fault};
    } else if (spec_->exact_within_uv > 0 && parcel.off_by_uv > spec_->exact_within_uv) {
      outcome = Outcome::wrong;
      blame = {Cause::bleeding, trace->node, nobody, no_fault};
    } else if (spec_->fresh_within > 0 && parcel.taken_at != never && now - parcel.taken_at > spec_->fresh_within) {
      outcome = Outcome::stale;
      blame.cause = Cause::old_snapshot;
    }
    if (!mine && !refused) came_late(now, heard);
    trace = world_->traces.find(exchange_);
  }
  if (state_ == State::pausing && attempt == attempt_) attempt = static_cast<std::uint8_t>(attempt_ - 1);
  attempt = std::min(attempt, static_cast<std::uint8_t>(trace->attempts.size() - 1));
  Attempt& tried = trace->attempts[attempt];
  tried.outcome = outcome;
  if (outcome == Outcome::answered && heard.flight != nullptr && finding.end > tried.ask_end + spec_->time_out) {
    tried.outcome = Outcome::late;  // taken all the same: the exchange was still open
    blame = late_blame(*trace, tried, *heard.flight);
  }
  trace->round_trip = finding.end - tried.start;
  if (blame.cause != Cause::none) world_->traces.blame(exchange_, attempt, blame);
  if (!refused) learn(entries_[entry_].plan.node, frame, ask_.payload.view(), now);
  finish(now, outcome);
  return true;
}

Blame Controller::late_blame(const Trace& trace, const Attempt& attempt, const Flight& flight) const {
  const Parcel& parcel = flight.parcel;
  const Nanos late_by = flight.heard.end() - attempt.ask_end - spec_->time_out;
  if (late_by <= 0 && !processor_.idle()) return {Cause::controller_busy, nobody, nobody, no_fault};
  // Whichever alone would have sufficed; of two that only suffice together, the longer.
  const bool busy_alone = parcel.busy > 0 && parcel.busy >= late_by;
  const bool held_alone = parcel.held > 0 && parcel.held >= late_by;
  const bool busy_longer = parcel.busy > parcel.held;
  if (busy_alone != held_alone ? busy_alone : busy_longer && parcel.busy + parcel.held >= late_by) {
    return {Cause::busy_node, parcel.busy_station, nobody, no_fault};
  }
  const bool held = held_alone || (parcel.held > 0 && parcel.busy + parcel.held >= late_by);
  return {held ? Cause::measuring : Cause::chain_time, trace.node, nobody, no_fault};
}

/// A good answer that is not for the exchange at hand, or comes when none is: perhaps an earlier exchange waited for
/// it.
void Controller::came_late(Nanos now, const Heard& heard) {
  if (heard.flight == nullptr) return;
  const Parcel& parcel = heard.flight->parcel;
  if (!parcel.key.answering || parcel.fake) return;
  Trace* trace = world_->traces.find(parcel.exchange);
  if (trace == nullptr || parcel.key.attempt >= trace->attempts.size()) return;
  const std::uint8_t number = parcel.key.attempt;
  Attempt& attempt = trace->attempts[number];
  if (attempt.outcome == Outcome::lost || attempt.outcome == Outcome::garbled ||
      attempt.outcome == Outcome::mismatched) {
    attempt.outcome = Outcome::late;
    world_->traces.blame(parcel.exchange, number, late_blame(*trace, attempt, *heard.flight));
  }
  if (trace->is_decided() && (trace->outcome == Outcome::lost || trace->outcome == Outcome::garbled ||
                              trace->outcome == Outcome::mismatched)) {
    trace->outcome = Outcome::late;
    world_->protocol.encode(heard.finding->frame, trace->answered);
  }
  (void)now;
}

}  // namespace hopbench
