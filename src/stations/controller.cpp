#include "stations/controller.h"

#include <algorithm>

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

Controller::Controller(const Protocol& protocol, const ChainDescription& chain, const LinkTable& table,
                       const Luck& luck, ControllerDesk& desk)
    : protocol_(&protocol),
      chain_(&chain),
      table_(&table),
      spec_(&chain.controller),
      luck_(luck),
      desk_(&desk),
      hash_(name_hash(chain.controller.name)),
      plan_size_(chain.controller.plan.size()),
      enrol_entry_(chain.nodes.size(), 0xffffffffU),
      unanswered_(chain.nodes.size(), 0),
      exchange_limit_(protocol.exchange_limit()),
      processor_(chain.controller.processor, luck, hash_),
      hears_of_everyone_(everyone_comes_round(table, protocol.description())),
      clock_(spec_->wrap, spec_->time_out) {
  if (spec_->balancing.every > 0) {
    std::vector<std::uint32_t> cells;
    for (const NodeSpec& node : chain.nodes) cells.push_back(chain.kinds[node.kind].cells);
    balancer_.emplace(spec_->balancing, cells);
    bleed_entry_.assign(chain.nodes.size(), 0);
  }
  const std::vector<PlanEntry> all = entries_of(chain);
  const std::size_t bleeds_from = all.size() - bleed_entry_.size();
  for (const PlanEntry& plan : all) {
    Entry entry;
    entry.plan = plan;
    entry.hash = name_hash(plan.name);
    entry.topic = protocol.topic_named(plan.topic).value_or(0);
    entry.bleeds = entries_.size() >= bleeds_from;
    if (entries_.size() < plan_size_) entry.turn = first_turn(chain.start.round, plan.every);
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
  round_ = chain_->start.round;
  const Nanos now = desk_->now();
  wake_at(now, next_exchange);
  if (balancer_) {
    const Nanos every = spec_->balancing.every;
    desk_->wake((now / every + 1) * every, Rank::wake, 1, static_cast<std::uint64_t>(balance) << 32U);
  }
}

void Controller::resume() {
  if (!held_up_) return;
  held_up_ = false;
  wake_at(desk_->now(), next_exchange);  // it was due already when it was held up
}

void Controller::wake_at(Nanos at, Kind kind) {
  const Rank rank = kind == next_exchange ? Rank::plan : Rank::wake;
  if (!processor_.idle()) at = processor_.free_at(at);
  desk_->wake(at, rank, 0, (static_cast<std::uint64_t>(kind) << 32U) | generation_);
}

bool Controller::is_over(std::uint64_t what) const {
  return static_cast<Kind>(what >> 32U) != balance && static_cast<std::uint32_t>(what) != generation_;
}

void Controller::on_wake(Nanos now, std::uint64_t what) {
  if (is_over(what)) return;
  switch (static_cast<Kind>(what >> 32U)) {
    case next_exchange:
      next(now);
      break;
    case deadline:
      try_failed(now, cut_by_clock_ ? Cause::clock_wrap : Cause::none);
      break;
    case retry:
      send_try();
      break;
    case balance:
      look_at_balance(now);
      break;
  }
}

void Controller::look_at_balance(Nanos now) {
  desk_->about_to_look();
  for (const std::uint16_t node : balancer_->look(now)) {
    const std::uint32_t entry = bleed_entry_[node];
    entries_[entry].plan.arguments = {{spec_->balancing.field, balancer_->wanted(node)}};
    if (std::find(to_ask_.begin(), to_ask_.end(), entry) == to_ask_.end()) to_ask_.push_back(entry);
  }
  desk_->wake(now + spec_->balancing.every, Rank::wake, 1, static_cast<std::uint64_t>(balance) << 32U);
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
  if (!desk_->may_begin()) {
    held_up_ = true;
    return;
  }
  if (plan_size_ == 0 && to_ask_.empty()) return;
  begin_exchange(now, pick());
}

std::uint64_t Controller::take_number() {
  if (exchange_limit_ != 0) ticket_ = ticket_ < exchange_limit_ ? ticket_ + 1 : 1;
  return ticket_;
}

const Frame& Controller::make_ask(std::uint32_t entry, std::uint64_t ticket) {
  const Entry& planned = entries_[entry];
  const PlanEntry& plan = planned.plan;
  const RolesSpec& roles = protocol_->description().roles;
  std::uint64_t destination = 0;
  if (planned.enrols) {
    destination = roles.first_unenrolled.value_or(0);
    expected_sender_ = chain_->nodes[plan.node].address;
  } else if (plan.node == nobody) {
    destination = roles.broadcast.empty() ? 0 : roles.broadcast.front();
    expected_sender_ = ~std::uint64_t{0};  // nobody is to answer
  } else {
    expected_sender_ = chain_->nodes[plan.node].address;
    destination = roles.destination.empty() ? table_->steps_to(plan.node) : expected_sender_;
  }
  const std::uint64_t passes = spec_->passes != 0 ? spec_->passes : std::min<std::uint64_t>(table_->most_steps(), 255);
  ask_ = protocol_->ask(planned.topic, destination, ticket, passes);
  filling_ = &plan;
  // What cannot be filled stays empty: the node will refuse it.
  (void)protocol_->fill(ask_, Protocol::Side::ask, {}, *this);
  const std::optional<Frame> read = protocol_->as_read(ask_);
  ask_reads_ = read.has_value();
  if (read) ask_ = *read;
  return ask_;
}

std::uint64_t Controller::asked_and_answered(std::uint32_t entry, Nanos start, Nanos last_edge) {
  Entry& planned = entries_[entry];
  ++planned.turn;
  started_ = start;
  last_edge_ = last_edge;
  if (planned.plan.node != nobody) unanswered_[planned.plan.node] = 0;
  return take_number();
}

void Controller::begin_exchange(Nanos now, std::uint32_t entry) {
  Entry& planned = entries_[entry];
  entry_ = entry;
  attempt_ = 0;
  if (planned.bleeds) asked_mask_ = planned.plan.arguments.front().second;
  worst_ = Outcome::lost;
  (void)make_ask(entry, take_number());
  Asking asking;
  asking.entry = entry;
  asking.entry_hash = planned.hash;
  asking.turn = planned.turn++;
  asking.node = planned.plan.node;
  asking.nothing_comes_back = asks_everyone() && !hears_of_everyone_;
  asking.since_last = last_edge_ < 0 ? -1 : now - last_edge_;
  desk_->begin(asking, ask_);
  started_ = now;
  send_try();
}

void Controller::send_try() {
  garbled_ = mismatched_ = false;
  state_ = State::waiting;
  ++generation_;
  const ControllerDesk::Sending sent = desk_->ask(ask_, ask_reads_);
  if (attempt_ == 0) started_ = sent.start;
  last_edge_ = sent.end;
  cut_by_clock_ = false;
  if (asks_everyone() && !hears_of_everyone_) {
    deadline_ = sent.end;
    wake_at(deadline_, deadline);
    return;
  }
  deadline_ = sent.end + spec_->time_out;
  // A deadline beyond the clock's end is a small number, which it is past already.
  cut_by_clock_ = clock_.within_time_out(sent.end);
  if (cut_by_clock_) deadline_ = sent.end + spec_->wrap.tick;
  wake_at(deadline_, deadline);
}

namespace {
/// Saturates: a pause may have no bound.
Nanos later(Nanos at, Nanos by) { return by > never - at ? never : at + by; }
}  // namespace

Nanos Controller::pause_before_retry() const {
  const BackOffSpec& back_off = spec_->back_off;
  const auto times = static_cast<Nanos>(std::max<std::uint32_t>(1, back_off.times));
  Nanos pause = back_off.first;
  for (std::uint8_t i = 1; i < attempt_ && pause < back_off.longest; ++i) {
    pause = pause > back_off.longest / times ? back_off.longest : pause * times;
  }
  pause = std::min(pause, back_off.longest);
  if (back_off.jitter > 0) {
    const StreamKey stream = luck_.stream(name_hash(entries_[entry_].hash, hash_), Purpose::back_off, attempt_);
    pause = later(pause, static_cast<Nanos>(below(static_cast<std::uint64_t>(back_off.jitter) + 1,
                                                  draw(stream, entries_[entry_].turn - 1, 0))));
  }
  return pause;
}

void Controller::try_failed(Nanos now, Cause why) {
  if (asks_everyone() && !hears_of_everyone_) {
    finish(now, Outcome::answered);
    desk_->gives_up(Outcome::answered);
    return;
  }
  const Outcome outcome = garbled_ ? Outcome::garbled : mismatched_ ? Outcome::mismatched : Outcome::lost;
  desk_->try_fails(outcome, why);
  if (outcome == Outcome::garbled || (worst_ == Outcome::lost && outcome != Outcome::lost)) worst_ = outcome;
  if (attempt_ >= spec_->retries) {
    finish(now, worst_);
    desk_->gives_up(worst_);
    return;
  }
  ++attempt_;
  state_ = State::pausing;
  ++generation_;
  const Nanos at = later(now, pause_before_retry());
  if (at != never) wake_at(at, retry);
}

/// The exchange is over; the plan goes on.
void Controller::finish(Nanos now, Outcome outcome) {
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
  state_ = State::between;
  ++generation_;
  wake_at(next_after(started_, now), next_exchange);
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

bool Controller::may_be_due_in_quiet(std::uint64_t what) const {
  const std::uint64_t kind = what >> 32U;
  return (kind == next_exchange && state_ == State::between) || (kind == balance && balancer_.has_value());
}

void Controller::keep_entry(Archive& archive, Entry& entry) {
  constexpr std::uint64_t most_turns = std::uint64_t{1} << 54U;  // as far as noise reaches
  archive.number("turn", entry.turn, std::uint64_t{0}, most_turns);
  if (entry.bleeds) archive.number("cells to bleed", entry.plan.arguments.front().second);
}

void Controller::keep(Archive& archive) {
  archive.all("entry", entries_, [&](Entry& entry) { keep_entry(archive, entry); });
  archive.all("node", unanswered_, [&](std::uint32_t& count) { archive.number("unanswered", count); });
  archive.list("asked next", to_ask_, [&](std::uint32_t& entry) {
    archive.number("entry", entry, std::uint32_t{0}, static_cast<std::uint32_t>(entries_.size() - 1));
  });
  archive.flag("held up", held_up_);
  archive.number("place in the plan", cursor_, std::size_t{0}, plan_size_);
  archive.number("round", round_);
  archive.number("exchange number", ticket_, std::uint64_t{0}, exchange_limit_);
  archive.number("timer", generation_);
  archive.span("last edge", last_edge_);
  if (balancer_) balancer_->keep(archive);
}

}  // namespace hopbench
