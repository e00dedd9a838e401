#include "chain/node.h"

#include <algorithm>
#include <bit>

#include "line/clock.h"
#include "chain/link.h"

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
      if (here) add_off(at, at + start_up(), Cause::injected_reset);
    }
  }
}

void Node::add_off(Nanos from, Nanos to, Cause why) {
  off_.add(from, to, why);
  world_->queue.push(from, Rank::signal, world_->node_entity(index_), 0, *this, reset_word);
  if (to != never) world_->queue.push(to, Rank::signal, world_->node_entity(index_), 0, *this, back_word);
}

void Node::fall_silent(Nanos from, Nanos to, Cause why) {
  off_.forget_before(world_->queue.now() - forgets_off_after);
  add_off(from, to, why);
}

void Node::come_back(Nanos at) {
  const Nanos back = off_.ends_at(at + start_up());
  if (back == never) return;
  started_ = back;
  world_->queue.push(back, Rank::signal, world_->node_entity(index_), 0, *this, back_word);
}

Cause Node::off_because(Nanos from, Nanos to, Cause injected) const {
  const Cause why = off_.why_in(from, to);
  return why == Cause::none || why == Cause::injected_reset ? injected : why;
}

void Node::take_up(const BoardState& board) {
  const bool other_clock = board.clock_ppb != board_.clock_ppb;
  board_ = board;
  if (other_clock) {
    ClockSpec now = clock_;
    now.error_ppb += board.clock_ppb;
    period_ = period_of(now, world_->protocol.line().baud, world_->luck, hash_);
  }
  tell_processor();
}

void Node::tell_processor() { processor_.set_bleeding(static_cast<std::uint32_t>(std::popcount(bleeding()))); }

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
  const Nanos since = world_->chain.start.at % board.chop_period;
  for (std::uint32_t cell = 0; cell < kind_->cells; ++cell) {
    if ((mask >> cell & 1U) == 0) continue;
    const Nanos phase = chop_phases_[cell] - since;
    trains.push_back({board.chop_period, phase, 0});
    if (closed < board.chop_period) trains.push_back({board.chop_period, (phase + closed) % board.chop_period, 0});
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
    tell_processor();
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
  tell_processor();
  world_->surroundings->bleeds_changed();
}

NodeState Node::state_at(Nanos at) const {
  NodeState state;
  state.board_mc = board_.board_mc;
  state.supply_mv = static_cast<std::int32_t>(board_.supply_uv / 1000);
  state.clock_ppb = off_nominal_ppb();
  state.flags = (off_at(at) ? 1U : 0U) | static_cast<std::uint32_t>(std::popcount(bleeding())) << 8U;
  return state;
}

}  // namespace hopbench
