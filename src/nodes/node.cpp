#include "nodes/node.h"

#include <algorithm>
#include <bit>

#include "line/clock.h"
#include "nodes/link.h"

namespace hopbench {
namespace {

std::vector<std::uint32_t> topics_named(const Protocol& protocol, const std::vector<std::string>& names) {
  std::vector<std::uint32_t> topics;
  for (const std::string& name : names) {
    if (const auto topic = protocol.topic_named(name)) topics.push_back(*topic);
  }
  return topics;
}

// Frames and characters in flight ask for no moment that is longer ago.
constexpr Nanos forgets_off_after = 60 * second;

bool contains(const std::vector<std::uint32_t>& topics, std::uint32_t topic) {
  return std::find(topics.begin(), topics.end(), topic) != topics.end();
}

}  // namespace

Node::Node(World& world, std::size_t index, const ClockSpec& clock)
    : world_(&world),
      index_(index),
      spec_(&world.chain.nodes[index]),
      kind_(&world.chain.kinds[spec_->kind]),
      clock_(clock),
      hash_(name_hash(spec_->name)),
      period_(period_of(clock, world.protocol.line().baud, world.luck, hash_)),
      processor_(kind_->processor, world.luck, hash_),
      values_(kind_->levels, world.luck, hash_),
      serial_number_(draw(world.luck.stream(hash_, Purpose::serial_number, 0), 0, 0) >> 32U),
      topics_(topics_named(world.protocol, kind_->topics)),
      measured_topics_(topics_named(world.protocol, kind_->measured_topics)) {
  if (!kind_->enrols) address_ = spec_->address;
  const BoardSpec& board = kind_->board;
  for (std::uint32_t cell = 0; board.chop_period > 0 && cell < kind_->cells; ++cell) {
    const std::uint64_t bits = draw(world.luck.stream(hash_, Purpose::chop_phase, cell), 0, 0);
    chop_phases_.push_back(static_cast<Nanos>(below(static_cast<std::uint64_t>(board.chop_period), bits)));
  }
  for (const FaultSpec& fault : world.chain.faults) {
    if (fault.kind != FaultClass::reset) continue;
    const bool here =
        fault.nodes.empty() || std::find(fault.nodes.begin(), fault.nodes.end(), index) != fault.nodes.end();
    for (const Nanos at : fault.at) {
      if (here) add_off(at, at + std::max<Nanos>(1, kind_->start_up), Cause::injected_reset);
    }
  }
}

void Node::add_off(Nanos from, Nanos to, Cause why) {
  const auto later =
      std::upper_bound(off_.begin(), off_.end(), from, [](Nanos at, const Off& each) { return at < each.when.from; });
  off_.insert(later, {{from, to}, why});
  world_->queue.push(from, Rank::signal, world_->node_entity(index_), 0, *this, reset_word);
  if (to != never) world_->queue.push(to, Rank::signal, world_->node_entity(index_), 0, *this, back_word);
}

void Node::fall_silent(Nanos from, Nanos to, Cause why) {
  // What is long over is asked for no more.
  std::erase_if(off_, [&](const Off& each) { return each.when.to < world_->queue.now() - forgets_off_after; });
  add_off(from, to, why);
}

void Node::come_back(Nanos at) {
  for (Off& each : off_) {
    if (each.when.to != never) continue;
    started_ = each.when.to = std::max(at, each.when.from) + std::max<Nanos>(1, kind_->start_up);
    world_->queue.push(each.when.to, Rank::signal, world_->node_entity(index_), 0, *this, back_word);
  }
}

bool Node::starts_in(Nanos from, Nanos to) const {
  return std::any_of(off_.begin(), off_.end(), [&](const Off& each) {
    const Nanos begins = each.when.to - std::max<Nanos>(1, kind_->start_up);
    return each.when.to != never && begins < to && each.when.to > from;
  });
}

bool Node::off_in(Nanos from, Nanos to) const {
  return std::any_of(off_.begin(), off_.end(),
                     [&](const Off& each) { return each.when.from < to && each.when.to > from; });
}

Nanos Node::first_off_in(Nanos from, Nanos to) const {
  for (const Off& each : off_) {
    if (each.when.from < to && each.when.to > from) return std::max(from, each.when.from);
  }
  return to;
}

Cause Node::off_because(Nanos from, Nanos to, Cause injected) const {
  for (const Off& each : off_) {
    if (each.when.from < to && each.when.to > from) return each.why == Cause::injected_reset ? injected : each.why;
  }
  return injected;
}

void Node::take_up(const BoardState& board) {
  const bool other_clock = board.clock_ppb != board_.clock_ppb;
  board_ = board;
  if (other_clock) {
    ClockSpec now = clock_;
    now.error_ppb += board.clock_ppb;
    period_ = period_of(now, world_->protocol.line().baud, world_->luck, hash_);
  }
  (void)processor_.set_bleeding(static_cast<std::uint32_t>(std::popcount(bleeding())));
}

std::uint32_t Node::bleeding() const {
  if (kind_->board.bleed_mohm <= 0 || board_.too_hot) return 0;
  const auto set = settings_.find(Quantity::bleed_mask);
  if (set == settings_.end()) return 0;
  return static_cast<std::uint32_t>(set->second) & ((1U << kind_->cells) - 1U);
}

void Node::bleed_edges(std::vector<PulseTrain>& trains) const {
  const BoardSpec& board = kind_->board;
  if (board.chop_period <= 0) return;
  const auto closed = static_cast<Nanos>(static_cast<__int128>(board.chop_period) * board.bleed_duty_ppm / 1'000'000);
  const std::uint32_t mask = bleeding();
  for (std::uint32_t cell = 0; cell < kind_->cells; ++cell) {
    if ((mask >> cell & 1U) == 0) continue;
    trains.push_back({board.chop_period, chop_phases_[cell], 0});
    if (closed < board.chop_period)
      trains.push_back({board.chop_period, (chop_phases_[cell] + closed) % board.chop_period, 0});
  }
}

std::int32_t Node::off_nominal_ppb() const {
  const Period nominal = period_of_baud(world_->protocol.line().baud);
  const auto off = static_cast<__int128>(nominal) - static_cast<__int128>(period_);
  return static_cast<std::int32_t>(off * 1'000'000'000 / static_cast<__int128>(period_));
}

bool Node::knows(std::uint32_t topic) const { return topics_.empty() || contains(topics_, topic); }

bool Node::passes(const Frame& frame) const {
  if (world_->protocol.description().forward.pass_unknown_topic) return true;
  const auto topic = world_->protocol.topic(frame);
  return topic && knows(*topic);
}

bool Node::claims(const Frame& frame) const {
  if (frame.role != Role::ask) return false;
  switch (world_->protocol.bound_for(frame, address_)) {
    case Protocol::Bound::here:
      return address_.has_value();
    case Protocol::Bound::everyone:
      return true;
    case Protocol::Bound::first_unenrolled:
      return kind_->enrols && !address_;
    case Protocol::Bound::elsewhere:
    case Protocol::Bound::controller:
      return false;
  }
  return false;
}

bool Node::takes_off(const Frame& frame) const {
  const auto bound = world_->protocol.bound_for(frame, address_);
  if (frame.role != Role::ask) {
    // An answer that names this node as its destination goes no further; where roles are not on the wire, answers carry
    // the address of the node that answers.
    return world_->protocol.description().roles.tell_role == TellRole::by_field && bound == Protocol::Bound::here;
  }
  if (bound == Protocol::Bound::everyone) return false;
  if (claims(frame)) return true;
  const bool last = world_->ring() && index_ + 1 == world_->node_count();
  return last && world_->protocol.description().forward.unclaimed == Unclaimed::last_node_stops_it;
}

void Node::on_heard(Nanos now, std::uint16_t link, const Heard& heard) {
  if (!heard.good()) {
    ++check_failures_;
    on_damaged(link, heard);
    return;
  }
  ++frames_heard_;
  const Finding& finding = *heard.finding;
  Parcel parcel;
  bool passed_on = false;
  if (heard.flight != nullptr) {
    parcel.key = heard.flight->parcel.key;
    parcel.exchange = heard.flight->parcel.exchange;
    parcel.fake = heard.flight->parcel.fake;
    parcel.taken_at = heard.flight->parcel.taken_at;
    parcel.held = heard.flight->parcel.held;
    parcel.busy = heard.flight->parcel.busy;
    parcel.busy_station = heard.flight->parcel.busy_station;
    parcel.off_by_uv = heard.flight->parcel.off_by_uv;
    passed_on = heard.flight->passed_on;
  }
  parcel.frame = finding.frame;
  const std::size_t bytes = world_->protocol.content_bytes(finding.frame);
  if (kind_->buffer_bytes != 0 && bytes > kind_->buffer_bytes) {
    if (heard.flight != nullptr) {
      world_->traces.resolve_row(parcel.exchange, heard.flight->row, Symptom::no_room);
      world_->traces.add_truth(parcel.exchange, {heard.flight->row, Cause::short_buffer, no_fault, 0xffffffffU, false});
      world_->traces.blame(parcel.exchange, parcel.key.attempt,
                           {Cause::short_buffer, static_cast<std::uint16_t>(index_), link, no_fault});
    }
    if (!passed_on) return;
  }
  const bool mine = claims(parcel.frame);
  if (!takes_off(parcel.frame)) {
    if (!passed_on && passes(parcel.frame)) {
      pass_on(now, link, parcel);
    } else if (!passed_on) {
      world_->traces.blame(parcel.exchange, parcel.key.attempt, blame_here(Cause::unknown_topic));
    }
  } else if (!mine) {
    world_->traces.blame(parcel.exchange, parcel.key.attempt, blame_here(Cause::unclaimed));
  }
  if (mine) {
    const bool everyone = world_->protocol.bound_for(parcel.frame, address_) == Protocol::Bound::everyone;
    act(now, parcel, !everyone || world_->protocol.description().forward.broadcast_answered);
  }
}

void Node::on_damaged(std::uint16_t link, const Heard& heard) {
  if (heard.flight == nullptr) return;
  const Parcel& came = heard.flight->parcel;
  const bool passed_on = heard.flight->passed_on;
  if (kind_->on_bad_check == OnBadCheck::drop || passed_on) return;
  Frame unused;
  const Finding& finding = *heard.finding;
  if (finding.content.empty()) return;
  if (kind_->on_bad_check == OnBadCheck::refuse) {
    // Only the node that seems to be meant answers; it has to believe a destination that may be damaged itself.
    if (world_->protocol.parse(finding.content.view(), unused) != Damage::check) return;
    Parcel ask;
    ask.frame = unused;
    if (world_->protocol.description().roles.tell_role != TellRole::by_field) ask.frame.role = came.frame.role;
    ask.key = came.key;
    ask.exchange = came.exchange;
    if (claims(ask.frame)) refuse_later(world_->queue.now(), ask, Refusal::bad_check);
    return;
  }
  Parcel out = came;
  out.raw = true;
  out.content = finding.content;
  out.inherited = true;
  pass_on(world_->queue.now(), link, out);
}

void Node::pass_on(Nanos now, std::uint16_t link, const Parcel& parcel) {
  const std::uint16_t onward = world_->onward_link(index_, link);
  if (onward == nobody) {
    world_->traces.blame(parcel.exchange, parcel.key.attempt, blame_here(Cause::no_address));
    return;
  }
  Job job;
  job.work = Work::pass_on;
  job.link = onward;
  job.parcel = parcel;
  bool goes = true;
  if (parcel.raw) {
    goes = world_->protocol.forward_bytes(job.parcel.content);
    if (!world_->protocol.forward(job.parcel.frame)) job.parcel.frame = parcel.frame;
  } else {
    goes = world_->protocol.forward(job.parcel.frame);
  }
  if (!goes) {
    world_->traces.blame(parcel.exchange, parcel.key.attempt, blame_here(Cause::passes_used_up));
    return;
  }
  Blame blame;
  if (!world_->injector.empty_memory() &&
      world_->injector.damage_in_memory(static_cast<std::uint16_t>(index_), now, job.parcel, blame)) {
    world_->traces.blame(parcel.exchange, parcel.key.attempt, blame);
  }
  queue_job(now + kind_->forwarding.after, std::move(job));
}

void Node::act(Nanos now, const Parcel& ask, bool answers) {
  const auto topic = world_->protocol.topic(ask.frame);
  if (!topic || !knows(*topic)) {
    if (!answers) return;
    if (kind_->on_unknown_topic == OnUnknownTopic::refuse) {
      refuse_later(now, ask, Refusal::unknown_topic);
    } else {
      world_->traces.blame(ask.exchange, ask.key.attempt, blame_here(Cause::unknown_topic));
    }
    return;
  }
  const TopicSpec& spec = world_->protocol.topic_spec(*topic);
  if (kind_->enrols && !address_ && spec.name == world_->chain.controller.enrol.topic) {
    world_->changing();
    address_ = world_->protocol.value_of(ask.frame, Protocol::Side::ask, world_->chain.controller.enrol.address_field);
  }
  if (spec.changes) {
    if (const auto reason = world_->protocol.apply_writes(ask.frame, *this)) {
      if (answers) refuse_later(now, ask, *reason);
      return;
    }
    write_fields(ask.frame);
  }
  if (answers) answer_later(now, ask);
}

void Node::write_fields(const Frame& ask) {
  const auto topic = world_->protocol.topic(ask);
  if (!topic || !world_->protocol.read(ask, Protocol::Side::ask, read_)) return;
  const Layout& layout = world_->protocol.topic_spec(*topic).ask;
  for (const PayloadValue& value : read_) {
    const LayoutItem& item = layout[value.item];
    if (item.field && !item.field->quantity.empty()) write(item.field->quantity, 0, value.value);
  }
}

void Node::answer_later(Nanos now, const Parcel& ask) {
  // A first filling tells whether it can be answered, and how many cells must be converted.
  Frame answer = world_->protocol.answer_to(ask.frame, address_.value_or(0), 0);
  fill_taken_at_ = now;
  fill_now_ = now;
  cells_filled_ = 0;
  if (const auto reason = world_->protocol.fill(answer, Protocol::Side::answer, ask.frame.payload.view(), *this)) {
    refuse_later(now, ask, *reason);
    return;
  }
  Job job;
  job.work = Work::answer;
  job.parcel = ask;
  job.asked_at = now;
  const MeasurementSpec& measurement = kind_->measurement;
  const Nanos ready = now + kind_->answer_after;
  Nanos due = ready;
  const auto topic = world_->protocol.topic(ask.frame);
  const bool measured = measured_topics_.empty() ? cells_filled_ > 0 : topic && contains(measured_topics_, *topic);
  if (measured) {
    const Nanos conversion = measurement.per_cell * std::max<Nanos>(1, cells_filled_);
    if (measurement.when == MeasureWhen::on_ask) {
      job.taken_at = std::max(ready, measuring_until_) + settle_time() + measurement.snapshot;
      due = job.taken_at + conversion;
      measuring_until_ = due;
      job.held = due - ready;
    } else {
      job.taken_at = newest_snapshot(ready);
    }
  }
  queue_job(due, std::move(job));
}

Nanos Node::settle_time() const {
  switch (kind_->measurement.bleed) {
    case BleedWhile::paused:
      return kind_->measurement.settle;
    case BleedWhile::paused_if_on:
      return bleeding() == 0 ? 0 : kind_->measurement.settle;
    case BleedWhile::kept_on:
      return 0;
  }
  return 0;
}

Nanos Node::newest_snapshot(Nanos ready) const {
  const MeasurementSpec& measurement = kind_->measurement;
  const Nanos takes = settle_time() + measurement.snapshot + measurement.per_cell * kind_->cells;
  const Nanos period = std::max<Nanos>(1, measurement.period);
  return std::max<Nanos>(0, (ready - takes) / period * period);
}

bool Node::make_answer(const Frame& ask, Nanos now, Nanos taken_at, Frame& answer) {
  const Protocol& protocol = world_->protocol;
  answer = protocol.answer_to(ask, address_.value_or(0), world_->steps_home(index_));
  fill_now_ = now;
  fill_taken_at_ = taken_at == never ? now : taken_at;
  off_by_uv_ = 0;
  return !protocol.fill(answer, Protocol::Side::answer, ask.payload.view(), *this);
}

void Node::refuse_later(Nanos now, const Parcel& ask, Refusal reason) {
  Job job;
  job.work = Work::refuse;
  job.parcel = ask;
  job.reason = reason;
  world_->traces.blame(ask.exchange, ask.key.attempt, blame_here(Cause::refused_by_node));
  queue_job(now + kind_->answer_after, std::move(job));
}

void Node::queue_job(Nanos at, Job&& job) {
  world_->traces.hold(job.parcel.exchange);
  std::size_t place = jobs_.size();
  if (free_jobs_.empty()) {
    jobs_.emplace_back();
  } else {
    place = free_jobs_.top();
    free_jobs_.pop();
  }
  jobs_[place] = std::move(job);
  ++world_->jobs;
  if (!processor_.idle()) {
    const Nanos free = processor_.free_at(at);
    jobs_[place].busy = free - at;
    at = free;
  }
  const std::uint64_t word = (static_cast<std::uint64_t>(generation_) << 32U) | place;
  world_->queue.push(at, Rank::wake, world_->node_entity(index_), 0, *this, word);
}

void Node::job_is_over(std::uint32_t place) {
  jobs_[place].work = Work::idle;
  free_jobs_.push(place);
  --world_->jobs;
}

void Node::on_event(Nanos now, std::uint64_t what) {
  if (what == reset_word) {
    restart();
    return;
  }
  if (what == back_word) {
    (void)processor_.set_bleeding(static_cast<std::uint32_t>(std::popcount(bleeding())));
    world_->surroundings->tell();
    return;
  }
  if ((what >> 32U) != generation_) return;  // from before a reset
  const auto place = static_cast<std::uint32_t>(what);
  const Job& job = jobs_[place];
  if (job.work == Work::pass_on) {
    jobs_[place].parcel.delayed_by(job.busy, static_cast<std::uint16_t>(index_));
    world_->links[job.link]->send(job.parcel);
  } else {
    do_answer(job);
  }
  world_->traces.release(job.parcel.exchange, now);
  job_is_over(place);
}

void Node::do_answer(const Job& job) {
  const Protocol& protocol = world_->protocol;
  const Parcel& ask = job.parcel;
  Parcel out;
  out.key = ask.key;
  out.key.answering = true;
  out.exchange = ask.exchange;
  out.fake = false;
  out.taken_at = job.taken_at;
  out.held = job.held;
  out.delayed_by(job.busy, static_cast<std::uint16_t>(index_));
  if (job.work == Work::refuse) {
    out.frame = protocol.refusal_of(ask.frame, address_.value_or(0), world_->steps_home(index_), job.reason);
  } else {
    if (!make_answer(ask.frame, world_->queue.now(), job.taken_at, out.frame)) return;
    out.off_by_uv = off_by_uv_;
    Trace* trace = world_->traces.find(ask.exchange);
    if (trace != nullptr && ask.key.attempt < trace->sent_payloads.size() && !ask.fake) {
      trace->sent_payloads[ask.key.attempt] = out.frame.payload;
    }
  }
  out.frame = as_heard(protocol, out.frame);
  out.fake = ask.fake;
  if (AnswerRecord* record = world_->answer_record) {
    ++record->answers;
    record->node = static_cast<std::uint16_t>(index_);
    record->ask = ask.frame;
    record->sent = out.frame;
    record->asked_at = job.asked_at;
    record->filled_at = world_->queue.now();
    record->taken_at = job.taken_at;
    record->frames_heard = frames_heard_;
  }
  world_->links[world_->answer_link(index_)]->send(out);
}

void Node::restart() {
  const Nanos now = world_->queue.now();
  world_->changing();
  const Cause why = off_because(now, now + 1, Cause::injected_reset);
  for (std::uint32_t place = 0; place < jobs_.size(); ++place) {
    const Job& job = jobs_[place];
    if (job.work == Work::idle) continue;
    job_is_over(place);
    world_->traces.blame(job.parcel.exchange, job.parcel.key.attempt, blame_here(why));
    world_->traces.release(job.parcel.exchange, now);
  }
  ++generation_;
  if (kind_->enrols && !kind_->keeps_address) address_.reset();
  started_ = now + kind_->start_up;
  measuring_until_ = 0;
  frames_heard_ = 0;
  check_failures_ = 0;
  settings_.clear();
  (void)processor_.set_bleeding(0);
  world_->surroundings->bleeds_changed();
}

NodeState Node::state_at(Nanos at) const {
  NodeState state;
  state.board_mc = board_.board_mc;
  state.supply_mv = static_cast<std::int32_t>(board_.supply_uv / 1000);
  state.clock_ppb = off_nominal_ppb();
  state.flags = off_at(at) ? 1 : 0;
  return state;
}

std::optional<std::int64_t> Node::quantity(std::string_view name, std::uint32_t index) {
  const auto found = quantity_named(name);
  if (!found) return std::nullopt;
  const auto setting = [&](std::int64_t otherwise) {
    const auto place = settings_.find(*found);
    return place == settings_.end() ? otherwise : place->second;
  };
  switch (*found) {
    case Quantity::cell_mv:
    case Quantity::cell_uv: {
      if (index >= kind_->cells) return std::nullopt;
      ++cells_filled_;
      std::int64_t uv = world_->chain.pack.battery.present ? pack().cell_uv(index_, index, fill_taken_at_)
                                                           : values_.microvolts(index, fill_taken_at_);
      if (measures_wrong() && (bleeding() >> index & 1U) != 0) {
        const std::int64_t drop = pack().bleed_drop_uv(index_, index, fill_taken_at_);
        off_by_uv_ = std::max(off_by_uv_, drop);
        uv = std::max<std::int64_t>(0, uv - drop);
      }
      return *found == Quantity::cell_uv ? uv : (uv + 500) / 1000;
    }
    case Quantity::cell_count:
      return kind_->cells;
    case Quantity::board_temp_mc:
      return board_.board_mc;
    case Quantity::supply_mv:
      return board_.supply_uv / 1000;
    case Quantity::snapshot_age_ms:
      return (fill_now_ - fill_taken_at_) / millisecond;
    case Quantity::serial_number:
      return static_cast<std::int64_t>(serial_number_);
    case Quantity::uptime_s:
      return std::max<Nanos>(0, fill_now_ - started_) / second;
    case Quantity::frames_heard:
      return static_cast<std::int64_t>(frames_heard_);
    case Quantity::check_failures:
      return static_cast<std::int64_t>(check_failures_);
    case Quantity::bleed_mask:
      return setting(0);
    case Quantity::low_limit_mv:
      return setting(2'500);
    case Quantity::high_limit_mv:
      return setting(3'650);
    case Quantity::address:
      return static_cast<std::int64_t>(address_.value_or(0));
    case Quantity::kind_code:
      return kind_->cells > 1 ? 2 : 1;
  }
  return std::nullopt;
}

std::optional<std::uint64_t> Node::argument(std::string_view /*field*/) { return std::nullopt; }

void Node::write(std::string_view quantity, std::uint32_t /*index*/, std::int64_t value) {
  const auto found = quantity_named(quantity);
  if (!found || !quantities()[static_cast<std::size_t>(*found)].writable) return;
  if (*found != Quantity::bleed_mask) {
    settings_[*found] = value;
    return;
  }
  const auto before = settings_.find(Quantity::bleed_mask);
  if (before != settings_.end() ? before->second == value : value == 0) {
    settings_[*found] = value;
    return;
  }
  world_->changing();
  const std::uint32_t bled = bleeding();
  settings_[*found] = value;
  if (bleeding() == bled) return;
  (void)processor_.set_bleeding(static_cast<std::uint32_t>(std::popcount(bleeding())));
  world_->surroundings->bleeds_changed();
}

}  // namespace hopbench
