#include "chain/controller.h"

#include <algorithm>

#include "chain/link.h"
#include "chain/node.h"
#include "scenario/quantity.h"

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
      processor_(world.chain.controller.processor, world.luck, hash_),
      clock_(spec_->wrap, spec_->time_out) {
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
    if (entries_.size() < plan_size_) entry.turn = first_turn(world.chain.start.round, plan.every);
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
  round_ = world_->chain.start.round;
  wake_at(world_->queue.now(), next_exchange);
  if (balancer_) {
    const BalancingSpec& balancing = spec_->balancing;
    world_->queue.push(balancing.every - balancing.since % balancing.every, Rank::wake, world_->controller_entity(), 1,
                       *this, static_cast<std::uint64_t>(balance) << 60U);
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

Nanos Controller::calm_until(Nanos now) const { return std::min(processor_.calm_until(now), clock_.calm_until(now)); }

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
  cut_by_clock_ = clock_.within_time_out(sent.end);
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
