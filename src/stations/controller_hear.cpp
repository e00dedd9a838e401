// What a controller makes of what it hears: the answer that it waits for, a late one, damage, something else.
#include "scenario/quantity.h"
#include "stations/controller.h"

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
  (void)protocol_->told(answer, asked, listener);
}

/// Where the bus does not tell roles, whatever comes to a controller is an answer, unless it is marked as a refusal.
Frame Controller::as_answer(const Frame& frame) const {
  Frame answer = frame;
  if (protocol_->description().roles.tell_role != TellRole::by_field && answer.role == Role::ask) {
    answer.role = Role::answer;
  }
  return answer;
}

bool Controller::is_own_ask(const Frame& frame) const {
  if (protocol_->description().roles.tell_role == TellRole::by_field) return frame.role == Role::ask;
  return is_open() && protocol_->same_on_its_way(frame, ask_);
}

bool Controller::fits(const Frame& answer) const {
  if (!protocol_->may_answer(answer, entries_[entry_].topic)) return false;
  const RolesSpec& roles = protocol_->description().roles;
  const auto sender = roles.source.empty() ? (roles.distance.empty() ? protocol_->destination(answer) : std::nullopt)
                                           : protocol_->source(answer);
  if (sender && *sender != expected_sender_) return false;
  if (spec_->on_late == OnLate::accept) return true;
  const auto named = protocol_->exchange(answer);
  return !named || *named == protocol_->exchange(ask_);
}

void Controller::on_hearing(Nanos now, const Hearing& hearing) {
  if (spec_->timer_first && state_ == State::waiting && now > deadline_) {
    // It comes from something else, and looks at its timer before its receiver.
    ++generation_;
    try_failed(now, Cause::controller_busy);
  }
  last_edge_ = hearing.end;
  if (!hearing.good()) {
    if (state_ != State::waiting) return desk_->has_no_use();
    garbled_ = true;
    desk_->cannot_read();
    if (spec_->retry_garbled_at_once) {
      ++generation_;
      try_failed(now, Cause::none);
    }
    return;
  }
  const bool role_on_wire = protocol_->description().roles.tell_role == TellRole::by_field;
  const bool own_ask = is_own_ask(*hearing.frame);
  if (is_open() && asks_everyone() && own_ask && protocol_->same_on_its_way(*hearing.frame, ask_)) {
    finish(now, Outcome::answered);  // it has come round
    desk_->takes(Outcome::answered, *hearing.frame);
    return;
  }
  if (role_on_wire && own_ask) return desk_->has_no_use();  // nobody claimed it
  if (is_open() && fits(as_answer(*hearing.frame)) && (state_ == State::waiting || spec_->on_late != OnLate::ignore)) {
    if (accept(now, hearing)) return;
    if (!own_ask) {
      garbled_ = true;
      desk_->cannot_read();
      return;
    }
  }
  if (!own_ask && state_ == State::waiting) mismatched_ = true;
  desk_->has_no_use();
}

/// Takes the frame for the answer. Returns false if its payload cannot be read.
bool Controller::accept(Nanos now, const Hearing& hearing) {
  const Frame answer = as_answer(*hearing.frame);
  Outcome outcome = Outcome::answered;
  if (answer.role == Role::refusal) {
    outcome = Outcome::refused;
  } else {
    if (!protocol_->read(answer, Protocol::Side::answer, read_)) return false;
    const auto asked = protocol_->values_asked(ask_);
    if (asked && protocol_->values_told(answer) < asked->count) outcome = Outcome::truncated;
    learn(entries_[entry_].plan.node, answer, ask_.payload.view(), now);
  }
  finish(now, outcome);
  desk_->takes(outcome, *hearing.frame);
  return true;
}

}  // namespace hopbench
