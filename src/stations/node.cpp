#include "stations/node.h"

#include <algorithm>
#include <bit>

#include "line/clock.h"

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

Node::Node(const Place& place, const Luck& luck, Desk& desk)
    : protocol_(&place.protocol),
      chain_(&place.chain),
      table_(&place.table),
      index_(place.index),
      spec_(&chain_->nodes[index_]),
      kind_(&chain_->kinds[spec_->kind]),
      luck_(luck),
      desk_(&desk),
      clock_(spec_->clock ? *spec_->clock : kind_->clock),
      hash_(name_hash(spec_->name)),
      period_(period_of(clock_, protocol_->line().baud, luck_, hash_)),
      processor_(kind_->processor, luck_, hash_),
      flaw_(kind_->flaw, *protocol_),
      values_(kind_->levels, luck_, hash_),
      serial_number_(draw(luck_.stream(hash_, Purpose::serial_number, 0), 0, 0) >> 32U),
      topics_(topics_named(*protocol_, kind_->topics)),
      measured_topics_(topics_named(*protocol_, kind_->measured_topics)),
      last_edge_(chain_->start.at),
      started_(chain_->start.at) {
  if (!kind_->enrols) take_address(spec_->address);
  const BoardSpec& board = kind_->board;
  for (std::uint32_t cell = 0; board.chop_period > 0 && cell < kind_->cells; ++cell) {
    const std::uint64_t bits = draw(luck_.stream(hash_, Purpose::chop_phase, cell), 0, 0);
    chop_phases_.push_back(static_cast<Nanos>(below(static_cast<std::uint64_t>(board.chop_period), bits)));
  }
}

void Node::take_address(std::optional<std::uint64_t> given) {
  given_address_ = given;
  address_ = given;
  if (given) address_ = spec_->goes_by.value_or(flaw_.kept_address(*given));
}

void Node::begin() {
  for (const FaultSpec& fault : chain_->faults) {
    if (fault.kind != FaultClass::reset) continue;
    const bool here =
        fault.nodes.empty() || std::find(fault.nodes.begin(), fault.nodes.end(), index_) != fault.nodes.end();
    for (const Nanos at : fault.at) {
      if (here && at >= desk_->now()) add_off(at, at + start_up(), Cause::injected_reset);
    }
  }
}

void Node::add_off(Nanos from, Nanos to, Cause why) {
  off_.add(from, to, why);
  desk_->wake(from, reset);
  if (to != never) desk_->wake(to, back);
}

void Node::fall_silent(Nanos from, Nanos to, Cause why) {
  off_.forget_before(desk_->now() - forgets_off_after);
  add_off(from, to, why);
}

void Node::come_back(Nanos at) {
  const Nanos on = off_.ends_at(at + start_up());
  if (on == never) return;
  started_ = on;
  desk_->wake(on, back);
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
    period_ = period_of(now, protocol_->line().baud, luck_, hash_);
  }
  tell_processor();
}

void Node::tell_processor() { processor_.set_bleeding(static_cast<std::uint32_t>(std::popcount(bleeding()))); }

std::uint32_t Node::bleeding() const {
  if (!can_bleed() || board_.too_hot) return 0;
  const auto set = settings_.find(Quantity::bleed_mask);
  if (set == settings_.end()) return 0;
  return static_cast<std::uint32_t>(static_cast<std::uint64_t>(set->second) & all_cells());
}

void Node::bleed_edges(std::vector<PulseTrain>& trains) const {
  const BoardSpec& board = kind_->board;
  if (board.chop_period <= 0) return;
  const auto closed = static_cast<Nanos>(static_cast<__int128>(board.chop_period) * board.bleed_duty_ppm / 1'000'000);
  const std::uint32_t mask = bleeding();
  for (std::uint32_t cell = 0; cell < kind_->cells; ++cell) {
    if ((mask >> cell & 1U) == 0) continue;
    const Nanos phase = chop_phases_[cell];
    trains.push_back({board.chop_period, phase, 0});
    if (closed < board.chop_period) trains.push_back({board.chop_period, (phase + closed) % board.chop_period, 0});
  }
}

std::int32_t Node::off_nominal_ppb() const {
  const Period nominal = period_of_baud(protocol_->line().baud);
  const auto off = static_cast<__int128>(nominal) - static_cast<__int128>(period_);
  return static_cast<std::int32_t>(off * 1'000'000'000 / static_cast<__int128>(period_));
}

NodeState Node::state_at(Nanos at) const {
  NodeState state;
  state.board_mc = board_.board_mc;
  state.supply_mv = static_cast<std::int32_t>(board_.supply_uv / 1000);
  state.clock_ppb = off_nominal_ppb();
  const std::uint32_t bled = bleeding();
  state.flags = (off_at(at) ? 1U : 0U) | static_cast<std::uint32_t>(std::popcount(bled)) << 8U | bled << 16U;
  return state;
}

bool Node::knows(std::uint32_t topic) const { return topics_.empty() || contains(topics_, topic); }

bool Node::passes(const Frame& frame) const {
  if (protocol_->description().forward.pass_unknown_topic) return true;
  if (!protocol_->names_topic(frame)) return true;
  const auto topic = protocol_->topic(frame);
  return topic && knows(*topic);
}

/// What a frame is to this node. Where the bus does not say it, it follows from where the frame came in, and from the
/// addresses that the chain was set up with: in a ring whatever carries this node's address is an ask, for its own
/// answers never come back to it, and a frame with another node's address that has come past that node is its answer.
Role Node::role_of(const Frame& frame, std::uint16_t link) const {
  const RolesSpec& roles = protocol_->description().roles;
  if (roles.tell_role == TellRole::by_field || protocol_->shape_tells_role(frame)) return frame.role;
  const bool refuses = frame.role == Role::refusal;
  if (!table_->comes_round()) return !(*table_)[link].homeward ? Role::ask : refuses ? frame.role : Role::answer;
  const auto addressed = roles.source.empty() && roles.distance.empty() ? protocol_->destination(frame) : std::nullopt;
  if (addressed && addressed == address_) return Role::ask;
  if (refuses) return frame.role;
  if (!roles.source.empty()) return protocol_->source(frame) == roles.controller_address ? Role::ask : Role::answer;
  const auto to = protocol_->destination(frame);
  if (!to) return Role::ask;
  if (!roles.distance.empty()) return *to == roles.controller_address ? Role::answer : Role::ask;
  const auto& nodes = chain_->nodes;
  const auto before = nodes.begin() + static_cast<std::ptrdiff_t>(index_);
  const bool passed = std::any_of(nodes.begin(), before, [&](const NodeSpec& node) { return node.address == *to; });
  if (!passed) return Role::ask;
  if (kind_->forwarding.kind != Forwarding::whole) return Role::answer;  // it has to decide by the head alone
  // That node may have lost its address. Then only an ask that looks like no answer is known for what it is.
  Frame answer = frame;
  answer.role = Role::answer;
  return protocol_->reads_as_answer(answer) || !protocol_->reads_as_ask(frame) ? Role::answer : Role::ask;
}

bool Node::claims(const Frame& frame, Protocol::Bound bound) const {
  if (frame.role != Role::ask) return false;
  switch (bound) {
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

bool Node::takes_off(const Frame& heard, std::uint16_t link) const {
  Frame frame = heard;
  frame.role = role_of(heard, link);
  return ends_with_me(frame, protocol_->bound_for(frame, address_));
}

bool Node::ends_with_me(const Frame& frame, Protocol::Bound bound) const {
  if (frame.role != Role::ask) {
    // An answer that names this node as its destination goes no further; where roles are not on the wire, answers carry
    // the address of the node that answers.
    return protocol_->description().roles.tell_role == TellRole::by_field && bound == Protocol::Bound::here;
  }
  const bool last = table_->comes_round() && index_ == table_->last_node();
  if (last && protocol_->description().forward.unclaimed == Unclaimed::last_node_stops_it) return true;
  return bound != Protocol::Bound::everyone && claims(frame, bound);
}

void Node::on_hearing(Nanos /*now*/, const Hearing& hearing) {
  if (!hearing.good()) {
    if (flaw_.hung()) return;
    ++check_failures_;
    if (passes_damage_for_good(hearing)) return;
    on_damaged(hearing);
    return;
  }
  Frame frame = *hearing.frame;
  frame.role = role_of(frame, hearing.link);
  if (!flaw_.hung() && flaw_.chokes_on(frame)) hang();
  if (flaw_.hung()) {
    if (kind_->forwarding.kind == Forwarding::whole || claims(frame, protocol_->bound_for(frame, address_))) {
      desk_->ends_here(Cause::design_flaw);
    }
    return;
  }
  ++frames_heard_;
  const Protocol::Bound bound = protocol_->bound_for(frame, address_);
  const bool mine = claims(frame, bound);
  // What is passed on while it comes in needs no place to be kept in, unless this node is to act on it.
  const bool passes_by_itself = kind_->forwarding.kind != Forwarding::whole;
  if (kind_->buffer_bytes != 0 && protocol_->content_bytes(frame) > kind_->buffer_bytes &&
      (mine || !passes_by_itself)) {
    return desk_->no_room();
  }
  if (ends_with_me(frame, bound)) {
    if (!mine) desk_->ends_here(Cause::unclaimed);
  } else if (!passes_by_itself && flaw_.forgets(frame)) {
    desk_->ends_here(Cause::design_flaw);
  } else if (!passes_by_itself) {
    if (passes(frame) || table_->onward(hearing.link) == nobody) {
      pass_on(hearing.link, *hearing.frame);
    } else {
      desk_->ends_here(Cause::unknown_topic);
    }
  } else if (table_->onward(hearing.link) == nobody && !mine) {
    desk_->ends_here(Cause::no_address);
  }
  if (!mine) {
    // Its own address, and it does not know it any more.
    if (given_address_ != address_ && frame.role == Role::ask &&
        protocol_->bound_for(frame, given_address_) == Protocol::Bound::here) {
      desk_->ends_here(Cause::design_flaw);
    }
    return;
  }
  desk_->takes();
  const bool everyone = bound == Protocol::Bound::everyone;
  const bool answers = !everyone || protocol_->description().forward.broadcast_answered;
  // No ask has a topic that is marked as one of a refusal.
  const auto topic = hearing.frame->role == Role::refusal ? std::nullopt : protocol_->topic(frame);
  act(frame, topic, answers);
}

void Node::on_damaged(const Hearing& hearing) {
  if (kind_->on_bad_check == OnBadCheck::drop || kind_->forwarding.kind != Forwarding::whole) return;
  if (hearing.content->empty()) return;
  if (kind_->on_bad_check == OnBadCheck::refuse) {
    // Only the node that seems to be meant answers; it has to believe a destination that may be damaged itself.
    Frame ask;
    if (protocol_->parse(hearing.content->view(), ask) != Damage::check) return;
    ask.role = role_of(ask, hearing.link);
    const Protocol::Bound bound = protocol_->bound_for(ask, address_);
    if (claims(ask, bound) && bound != Protocol::Bound::everyone) refuse_later(ask, Refusal::bad_check);
    return;
  }
  const std::uint16_t onward = table_->onward(hearing.link);
  if (onward == nobody) return desk_->ends_here(Cause::no_address);
  Job job;
  job.work = Work::pass_on_damaged;
  job.link = onward;
  job.content = *hearing.content;
  if (!protocol_->forward_bytes(job.content)) return desk_->ends_here(Cause::passes_used_up);
  job.after = kind_->forwarding.after;
  queue_job(std::move(job));
}

/// Passes on a frame whose check is wrong, with all its checks made anew. False if it is no such node or frame.
bool Node::passes_damage_for_good(const Hearing& hearing) {
  if (!flaw_.is(Flaw::remakes_checks) || hearing.symptom != Symptom::check) return false;
  Frame read;
  if (protocol_->parse(hearing.content->view(), read) != Damage::check) return false;
  const auto sound = protocol_->as_read(read);
  if (!sound) return false;
  Frame frame = *sound;
  frame.role = role_of(frame, hearing.link);
  if (ends_with_me(frame, protocol_->bound_for(frame, address_))) return false;
  desk_->takes_for_good();
  pass_on(hearing.link, *sound);
  return true;
}

void Node::hang() {
  desk_->changing();
  flaw_.hang();
  drop_jobs(Cause::design_flaw);
}

void Node::drop_jobs(Cause why) {
  desk_->drop_jobs(why);
  for (std::uint32_t place = 0; place < jobs_.size(); ++place) {
    if (jobs_[place].work == Work::idle) continue;
    jobs_[place].work = Work::idle;
    free_jobs_.push(place);
  }
}

void Node::pass_on(std::uint16_t link, const Frame& frame) {
  const std::uint16_t onward = table_->onward(link);
  if (onward == nobody) return desk_->ends_here(Cause::no_address);
  Job job;
  job.work = Work::pass_on;
  job.link = onward;
  job.frame = frame;
  if (!protocol_->forward(job.frame)) return desk_->ends_here(Cause::passes_used_up);
  job.after = kind_->forwarding.after;
  if (const auto rewritten = flaw_.rewritten(job.frame)) {
    desk_->mistakes();
    job.work = Work::pass_on_damaged;
    job.content = *rewritten;
  }
  queue_job(std::move(job));
}

Nanos Node::due(std::uint32_t number, Nanos heard, Skip skip) const {
  const Job& job = jobs_[number];
  Nanos at = heard + job.after;
  if (job.measures && skip != Skip::measurement) {
    // The measurement before held it up only if it did.
    const bool queued = job.not_before > job.heard_at + job.after;
    at = (queued ? std::max(at, job.not_before) : at) + job.takes;
  }
  return skip == Skip::busyness || processor_.idle() ? at : processor_.free_at(at);
}

void Node::queue_job(Job&& job) {
  std::size_t place = jobs_.size();
  if (free_jobs_.empty()) {
    jobs_.emplace_back();
  } else {
    place = free_jobs_.top();
    free_jobs_.pop();
  }
  job.heard_at = desk_->now();
  jobs_[place] = std::move(job);
  const auto number = static_cast<std::uint32_t>(place);
  desk_->later(due(number, desk_->now(), Skip::nothing), number);
}

void Node::on_job(std::uint32_t number) {
  Job& job = jobs_[number];
  switch (job.work) {
    case Work::idle:
      return;
    case Work::pass_on:
      desk_->pass_on(job.link, job.frame);
      break;
    case Work::pass_on_damaged:
      desk_->pass_on(job.link, job.content);
      break;
    case Work::answer:
    case Work::answer_empty:
    case Work::refuse:
      do_answer(job);
      break;
    case Work::act_again:
      if (const auto topic = protocol_->topic(job.frame)) (void)obey(job.frame, protocol_->topic_spec(*topic));
      break;
  }
  job.work = Work::idle;
  free_jobs_.push(number);
}

void Node::on_wake(std::uint32_t what) {
  if (what == reset) {
    restart();
    return;
  }
  tell_processor();
  desk_->back_on();
}

void Node::restart() {
  const Nanos now = desk_->now();
  desk_->changing();
  drop_jobs(off_because(now, now + 1, Cause::injected_reset));
  if (kind_->enrols && !kind_->keeps_address) take_address(std::nullopt);
  flaw_.reset();
  started_ = now + kind_->start_up;
  measuring_until_ = 0;
  frames_heard_ = 0;
  check_failures_ = 0;
  settings_.clear();
  tell_processor();
  desk_->bleeds_changed();
}

void Node::keep(Archive& archive) {
  off_.keep(archive);
  archive.span("last edge", last_edge_);
  if (kind_->enrols) {
    archive.maybe("address", given_address_, [&](std::uint64_t& address) {
      archive.number("address", address);
      if (archive.restores() && !protocol_->may_be_an_address(address)) archive.refuse("address", "nobody may have it");
    });
    if (archive.restores()) take_address(given_address_);
  }
  archive.span("started", started_);
  archive.number("frames heard", frames_heard_);
  archive.number("check failures", check_failures_);
  flaw_.keep(archive);
  for (const QuantityInfo& info : quantities()) {
    if (!info.writable) continue;
    std::optional<std::int64_t> set;
    if (const auto found = settings_.find(info.quantity); found != settings_.end()) set = found->second;
    archive.maybe(info.name, set, [&](std::int64_t& value) { archive.number(info.name, value); });
    if (archive.restores() && set) settings_[info.quantity] = *set;
  }
}

}  // namespace hopbench
