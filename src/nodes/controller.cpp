#include "nodes/controller.h"

#include <algorithm>

#include "nodes/link.h"
#include "nodes/node.h"
#include "nodes/quantity.h"

namespace hopbench {

std::vector<PlanEntry> Controller::entries_of(const ChainDescription& chain) {
  std::vector<PlanEntry> entries = chain.controller.plan;
  for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
    if (!chain.kinds[chain.nodes[i].kind].enrols) continue;
    PlanEntry entry;
    entry.name = "enrol/" + chain.nodes[i].name;
    entry.node = static_cast<std::uint16_t>(i);
    entry.topic = chain.controller.enrol.topic;
    entry.arguments = {{chain.controller.enrol.address_field, chain.nodes[i].address}};
    entries.push_back(entry);
  }
  const BalancingSpec& balancing = chain.controller.balancing;
  for (std::size_t i = 0; balancing.every > 0 && i < chain.nodes.size(); ++i) {
    PlanEntry entry;
    entry.name = "balance/" + chain.nodes[i].name;
    entry.node = static_cast<std::uint16_t>(i);
    entry.topic = balancing.topic;
    entry.arguments = {{balancing.field, 0}};
    entries.push_back(entry);
  }
  return entries;
}

Controller::Controller(World& world, Period /*period*/)
    : world_(&world),
      spec_(&world.chain.controller),
      hash_(name_hash(world.chain.controller.name)),
      plan_size_(world.chain.controller.plan.size()),
      enrol_entry_(world.node_count(), 0xffffffffU),
      unanswered_(world.node_count(), 0),
      exchange_limit_(world.protocol.exchange_limit()),
      processor_(world.chain.controller.processor, world.luck, hash_) {
  if (spec_->balancing.every > 0) {
    std::vector<std::uint32_t> cells;
    for (const NodeSpec& node : world.chain.nodes) cells.push_back(world.chain.kinds[node.kind].cells);
    balancer_.emplace(spec_->balancing, cells);
    bleed_entry_.assign(world.node_count(), 0);
  }
  const std::vector<PlanEntry> all = entries_of(world.chain);
  const std::size_t bleeds_from = all.size() - bleed_entry_.size();
  for (const PlanEntry& plan : all) {
    Entry entry;
    entry.plan = plan;
    entry.hash = name_hash(plan.name);
    entry.topic = world.protocol.topic_named(plan.topic).value_or(0);
    entry.bleeds = entries_.size() >= bleeds_from;
    entry.enrols = entries_.size() >= plan_size_ && !entry.bleeds;
    if (entry.bleeds) bleed_entry_[plan.node] = static_cast<std::uint32_t>(entries_.size());
    if (entry.enrols) {
      enrol_entry_[plan.node] = static_cast<std::uint32_t>(entries_.size());
      if (spec_->enrol.at_start) to_ask_.push_back(enrol_entry_[plan.node]);
    }
    entries_.push_back(entry);
  }
}

void Controller::begin() {
  wake_at(world_->queue.now(), next_exchange);
  if (balancer_) {
    world_->queue.push(spec_->balancing.every, Rank::wake, world_->controller_entity(), 1, *this,
                       static_cast<std::uint64_t>(balance) << 60U);
  }
}

void Controller::resume() {
  if (!held_up_) return;
  held_up_ = false;
  wake_at(world_->queue.now(), next_exchange);  // it was due already when it was held up
}

void Controller::wake_at(Nanos at, Kind kind) {
  const Rank rank = kind == next_exchange ? Rank::plan : Rank::wake;
  if (!processor_.idle()) at = processor_.free_at(at);
  world_->queue.push(at, rank, world_->controller_entity(), 0, *this,
                     (static_cast<std::uint64_t>(kind) << 32U) | generation_);
}

void Controller::on_event(Nanos now, std::uint64_t what) {
  const auto kind = static_cast<Kind>(what >> 60U);
  if (kind == close_late) {
    world_->traces.close_now(what & ((std::uint64_t{1} << 60U) - 1), now);
    return;
  }
  if (kind == balance) {
    look_at_balance(now);
    return;
  }
  if (static_cast<std::uint32_t>(what) != generation_) return;
  switch (static_cast<Kind>(what >> 32U)) {
    case next_exchange:
      next(now);
      break;
    case deadline:
      try_failed(now);
      break;
    case retry:
      send_try(now);
      break;
    case close_late:
    case balance:
      break;
  }
}

void Controller::look_at_balance(Nanos now) {
  world_->settle();
  for (const std::uint16_t node : balancer_->look(now)) {
    const std::uint32_t entry = bleed_entry_[node];
    entries_[entry].plan.arguments = {{spec_->balancing.field, balancer_->wanted(node)}};
    if (std::find(to_ask_.begin(), to_ask_.end(), entry) == to_ask_.end()) to_ask_.push_back(entry);
  }
  world_->queue.push(now + spec_->balancing.every, Rank::wake, world_->controller_entity(), 1, *this,
                     static_cast<std::uint64_t>(balance) << 60U);
}

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

bool Controller::goes_round_by(Nanos sent) const {
  const WrapSpec& wrap = spec_->wrap;
  if (wrap.bits == 0) return false;
  const std::uint64_t turn = std::uint64_t{1} << wrap.bits;
  const std::uint64_t ticks = (wrap.starts_at + static_cast<std::uint64_t>(sent / wrap.tick)) % turn;
  return ticks + static_cast<std::uint64_t>(spec_->time_out / wrap.tick) >= turn;
}

Nanos Controller::calm_until(Nanos now) const {
  Nanos until = processor_.calm_until(now);
  const WrapSpec& wrap = spec_->wrap;
  if (wrap.bits == 0) return until;
  if (goes_round_by(now)) return now;
  const std::uint64_t turn = std::uint64_t{1} << wrap.bits;
  const std::uint64_t ticks = (wrap.starts_at + static_cast<std::uint64_t>(now / wrap.tick)) % turn;
  const std::uint64_t left = turn - ticks - static_cast<std::uint64_t>(spec_->time_out / wrap.tick);
  // A tick early, for `now` may be the end of one.
  const auto calm = static_cast<__int128>(left - 1) * wrap.tick + now;
  return std::max(now, static_cast<Nanos>(std::min<__int128>(until, calm)));
}

std::uint32_t Controller::pick() {
  if (!to_ask_.empty()) {
    const std::uint32_t entry = to_ask_.front();
    to_ask_.erase(to_ask_.begin());
    return entry;
  }
  // At most one whole round without an entry that is due; entries asked in every round always are.
  for (;;) {
    if (cursor_ == plan_size_) {
      cursor_ = 0;
      ++round_;
    }
    const auto entry = static_cast<std::uint32_t>(cursor_++);
    const std::uint64_t every = entries_[entry].plan.every;
    if (every <= 1 || round_ % every == 0) return entry;
  }
}

void Controller::next(Nanos now) {
  if (world_->traces.opened() >= most_) {
    held_up_ = true;
    return;
  }
  if (plan_size_ == 0 && to_ask_.empty()) return;
  begin_exchange(now, pick());
}

void Controller::take_number() {
  if (exchange_limit_ != 0) ticket_ = ticket_ < exchange_limit_ ? ticket_ + 1 : 1;
}

const Frame& Controller::make_ask(std::uint32_t entry) {
  const Protocol& protocol = world_->protocol;
  const Entry& planned = entries_[entry];
  const PlanEntry& plan = planned.plan;
  const RolesSpec& roles = protocol.description().roles;
  std::uint64_t destination = 0;
  if (planned.enrols) {
    destination = roles.first_unenrolled.value_or(0);
    expected_sender_ = world_->chain.nodes[plan.node].address;
  } else if (plan.node == nobody) {
    destination = roles.broadcast.empty() ? 0 : roles.broadcast.front();
    expected_sender_ = ~std::uint64_t{0};  // nobody is to answer
  } else {
    expected_sender_ = world_->chain.nodes[plan.node].address;
    destination = roles.destination.empty() ? world_->steps_to(plan.node) : expected_sender_;
  }
  take_number();
  const std::uint64_t passes = spec_->passes != 0 ? spec_->passes : std::min<std::size_t>(world_->node_count(), 255);
  ask_ = protocol.ask(planned.topic, destination, ticket_, passes);
  filling_ = &plan;
  (void)protocol.fill(ask_, Protocol::Side::ask, {},
                      *this);  // what cannot be filled stays empty: the node will refuse it
  ask_ = as_heard(protocol, ask_);
  return ask_;
}

void Controller::asked_and_answered(std::uint32_t entry, Nanos start, Nanos last_edge, bool with_number) {
  Entry& planned = entries_[entry];
  ++planned.turn;
  if (with_number) take_number();
  started_ = start;
  last_edge_ = last_edge;
  if (planned.plan.node != nobody) unanswered_[planned.plan.node] = 0;
}

bool Controller::is_over(Nanos /*at*/, std::uint64_t what) const {
  if (static_cast<Kind>(what >> 60U) == close_late) {
    return world_->traces.find(what & ((std::uint64_t{1} << 60U) - 1)) == nullptr;
  }
  if (static_cast<Kind>(what >> 60U) == balance) return false;
  return static_cast<std::uint32_t>(what) != generation_;
}

void Controller::begin_exchange(Nanos now, std::uint32_t entry) {
  const Protocol& protocol = world_->protocol;
  Entry& planned = entries_[entry];
  const PlanEntry& plan = planned.plan;
  entry_ = entry;
  attempt_ = 0;
  if (planned.bleeds) asked_mask_ = plan.arguments.front().second;
  garbled_ = mismatched_ = false;
  worst_ = Outcome::lost;

  (void)make_ask(entry);
  Trace& trace = world_->traces.open(entry, planned.turn++, plan.node, now);
  exchange_ = trace.number;
  protocol.encode(ask_, trace.asked);
  trace.since_last = last_edge_ < 0 ? -1 : now - last_edge_;
  started_ = now;
  send_try(now);
}

void Controller::send_try(Nanos now) {
  Trace* trace = world_->traces.find(exchange_);
  Parcel parcel;
  parcel.frame = ask_;
  parcel.key = {entries_[entry_].hash, entries_[entry_].turn - 1, attempt_, false, 0};
  parcel.exchange = exchange_;
  garbled_ = mismatched_ = false;
  state_ = State::waiting;
  ++generation_;
  const Nanos free = world_->links.front()->free_from();
  // The try must be known before the frame sets out, for what may happen to it at once.
  world_->traces.attempt(*trace, free, free);
  const Sent sent = world_->links.front()->send(parcel);
  trace->attempts.back().ask_end = sent.end;
  if (attempt_ == 0) {
    trace->start = sent.start;
    started_ = sent.start;
  }
  last_edge_ = sent.end;
  if (entries_[entry_].plan.node == nobody && !world_->ring()) {
    // In a line nothing comes back from everyone.
    wake_at(sent.end, deadline);
    return;
  }
  deadline_ = sent.end + spec_->time_out;
  // A deadline beyond the clock's end is a small number, which it is past already.
  cut_by_clock_ = goes_round_by(sent.end);
  if (cut_by_clock_) deadline_ = sent.end + spec_->wrap.tick;
  wake_at(deadline_, deadline);
  (void)now;
}

Nanos Controller::pause_before_retry() const {
  const BackOffSpec& back_off = spec_->back_off;
  Nanos pause = back_off.first;
  for (std::uint8_t i = 1; i < attempt_ && pause < back_off.longest; ++i)
    pause *= std::max<std::uint32_t>(1, back_off.times);
  pause = std::min(pause, back_off.longest);
  if (back_off.jitter > 0) {
    const StreamKey stream = world_->luck.stream(name_hash(entries_[entry_].hash, hash_), Purpose::back_off, attempt_);
    pause += static_cast<Nanos>(
        below(static_cast<std::uint64_t>(back_off.jitter) + 1, draw(stream, entries_[entry_].turn - 1, 0)));
  }
  return pause;
}

void Controller::try_failed(Nanos now) {
  Trace* trace = world_->traces.find(exchange_);
  if (entries_[entry_].plan.node == nobody && !world_->ring()) {
    trace->attempts.back().outcome = Outcome::answered;
    finish(now, Outcome::answered);
    return;
  }
  if (cut_by_clock_) world_->traces.blame(exchange_, attempt_, {Cause::clock_wrap, nobody, nobody, no_fault});
  const Outcome outcome = garbled_ ? Outcome::garbled : mismatched_ ? Outcome::mismatched : Outcome::lost;
  trace->attempts.back().outcome = outcome;
  if (worst_ == Outcome::lost || outcome == Outcome::garbled) worst_ = outcome == Outcome::lost ? worst_ : outcome;
  if (attempt_ >= spec_->retries) {
    finish(now, worst_);
    return;
  }
  ++attempt_;
  state_ = State::pausing;
  ++generation_;
  wake_at(now + pause_before_retry(), retry);
}

void Controller::finish(Nanos now, Outcome outcome) {
  Trace* trace = world_->traces.find(exchange_);
  const Entry& planned = entries_[entry_];
  if (planned.bleeds && outcome == Outcome::answered) balancer_->told(planned.plan.node, asked_mask_, now);
  if (planned.plan.node != nobody && !planned.enrols) {
    std::uint32_t& unanswered = unanswered_[planned.plan.node];
    unanswered = outcome == Outcome::lost ? unanswered + 1 : 0;
    const std::uint32_t enrol = enrol_entry_[planned.plan.node];
    if (enrol != 0xffffffffU && spec_->enrol.again_after != 0 && unanswered >= spec_->enrol.again_after) {
      unanswered = 0;
      to_ask_.push_back(enrol);
    }
  }
  const std::uint64_t number = exchange_;
  exchange_ = no_exchange;
  state_ = State::between;
  ++generation_;
  const bool window = spec_->late_window > 0 && trace->alive > 0;
  world_->traces.decide(*trace, now, outcome);
  if (window) {
    world_->queue.push(now + spec_->late_window, Rank::release, world_->controller_entity(), 0, *this,
                       (static_cast<std::uint64_t>(close_late) << 60U) | number);
  }
  plan_next(now);
}

void Controller::plan_next(Nanos now) {
  wake_at(std::max({now, started_ + spec_->pace, now + spec_->gap}), next_exchange);
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

std::optional<std::int64_t> Controller::quantity(std::string_view name, std::uint32_t /*index*/) {
  // A field that sets a quantity of the node takes its value from the plan, by either name.
  for (const auto& [field, value] : filling_->arguments) {
    if (field == name) return static_cast<std::int64_t>(value);
  }
  return std::nullopt;
}

std::optional<std::uint64_t> Controller::argument(std::string_view field) {
  for (const auto& [name, value] : filling_->arguments) {
    if (name == field) return value;
  }
  return std::nullopt;
}

}  // namespace hopbench
