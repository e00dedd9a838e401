#include "nodes/link.h"

#include <algorithm>

#include "nodes/node.h"

namespace hopbench {
namespace {

Symptom symptom_of(const Finding& finding) {
  if (finding.overrun) return Symptom::overrun;
  if (finding.framing_error) return Symptom::framing;
  if (finding.parity_error) return Symptom::parity;
  switch (finding.damage) {
    case Damage::none: return Symptom::none;
    case Damage::too_short: return Symptom::too_short;
    case Damage::too_long: return Symptom::too_long;
    case Damage::check:
    case Damage::malformed: return Symptom::check;
  }
  return Symptom::check;
}

}  // namespace

Link::Link(World& world, std::uint16_t index, const std::string& name, Period sender, Period receiver,
           const ReceiverSpec& receiver_spec)
    : world_(&world),
      index_(index),
      name_hash_(name_hash(name)),
      sender_(sender),
      half_bits_(world.protocol.line().char_half_bits()),
      slots_per_char_(slots_per_char(world.protocol.line())),
      gap_(world.protocol.least_gap(sender)),
      end_silence_(world.protocol.end_silence(receiver)),
      conditions_(world.chain.links[index], world.luck, name),
      ear_(world.protocol, receiver_spec, receiver) {}

void Link::connect(Station& station, Node* from, Node* node) {
  station_ = &station;
  from_ = from;
  node_ = node;
}

Nanos Link::free_from() const {
  const Nanos now = world_->queue.now();
  return free_at_ < 0 ? now : std::max(now, free_at_ + gap_);
}

Nanos Link::char_span(std::uint64_t chars) const { return half_edge(0, chars * half_bits_, sender_); }

std::uint32_t Link::chars_of(const Flight& flight) const {
  if (flight.has_wire) return static_cast<std::uint32_t>(flight.wire.size());
  if (!flight.parcel.raw) return world_->protocol.wire_chars(flight.parcel.frame);
  WireBytes wire;
  world_->protocol.wrap(flight.parcel.content.view(), wire);
  return static_cast<std::uint32_t>(wire.size());
}

void Link::wire_of(const Flight& flight, WireBytes& wire) const {
  if (flight.has_wire) {
    wire = flight.wire;
  } else if (flight.parcel.raw) {
    world_->protocol.wrap(flight.parcel.content.view(), wire);
  } else {
    Content content;
    world_->protocol.encode(flight.parcel.frame, content);
    world_->protocol.wrap(content.view(), wire);
  }
}

std::size_t Link::head_chars() const {
  const FramingKind kind = world_->protocol.description().framing.kind;
  const bool plain = kind == FramingKind::sized || kind == FramingKind::fixed || kind == FramingKind::silence;
  return plain ? world_->protocol.head_bytes() : 0;
}

const ForwardingSpec* Link::passing() const {
  if (node_ == nullptr || node_->kind().forwarding.kind == Forwarding::whole) return nullptr;
  return world_->onward_link(node_->index(), index_) == nobody ? nullptr : &node_->kind().forwarding;
}

// --- putting frames on the wire ------------------------------------------------------------------------

Flight& Link::prepare(const Parcel& parcel) {
  Flight& flight = world_->flights.add();
  flight.link = index_;
  flight.parcel = parcel;
  world_->traces.hold(parcel.exchange);
  return flight;
}

Sent Link::send(const Parcel& parcel) {
  Flight& flight = prepare(parcel);
  const Nanos begin = free_from();
  const Sent sent{begin, half_edge(begin, static_cast<std::uint64_t>(chars_of(flight)) * half_bits_, sender_)};
  judge(flight, true);
  return sent;
}

/// Asks the injector, then lets the flight go as it says. `whole`: the frame is at hand and may be kept back or sent later;
/// false for one that is passed on while it comes in, with its times fixed already.
void Link::judge(Flight& flight, bool whole) {
  const Nanos now = world_->queue.now();
  if (world_->injector.empty()) {
    if (whole) start(flight);
    return;
  }
  const std::uint32_t slots = chars_of(flight) * slots_per_char_;
  const Trace* trace = world_->traces.find(flight.parcel.exchange);
  const std::uint16_t node = trace == nullptr ? nobody : trace->node;
  const Parcel as_given = flight.parcel;
  world_->injector.judge(index_, name_hash_, now, slots, node, whole, flight.parcel, verdict_);
  const Verdict verdict = verdict_;
  flight.lost = verdict.lost;
  flight.inverted = verdict.inverted;
  flight.injected = verdict.blame;
  if (verdict.altered || verdict.delay > 0 || verdict.hold_back || verdict.lost) {
    world_->traces.blame(flight.parcel.exchange, flight.parcel.key.attempt, verdict.blame);
  }
  std::uint8_t copy = flight.parcel.key.copy;
  for (const Verdict::Copy& each : verdict.copies) {
    if (each.of_previous && !previous_) continue;
    Parcel again = each.of_previous ? *previous_ : as_given;
    again.key = as_given.key;
    again.key.copy = ++copy;
    again.exchange = as_given.exchange;
    again.fake = true;
    if (again.raw) {  // what says what it should may as well be made anew
      Content should;
      world_->protocol.encode(again.frame, should);
      again.raw = again.content != should;
    }
    again.inherited = again.raw && again.inherited;
    Flight& extra = prepare(again);
    extra.injected = verdict.blame;
    const Nanos out = free_from() + char_span(chars_of(flight)) + verdict.delay;
    world_->queue.push(out + each.after, Rank::signal, index_, 1, *this, word(launch, extra.tag));
  }
  if (flight.parcel.key.copy == 0) previous_ = as_given;
  if (!whole) return;
  if (verdict.hold_back && !held_back_) {
    held_back_ = flight.tag;
    world_->queue.push(now + verdict.hold_for, Rank::wake, index_, 2, *this, word(let_go, flight.tag));
    return;
  }
  if (verdict.delay > 0) {
    world_->queue.push(now + verdict.delay, Rank::signal, index_, 1, *this, word(launch, flight.tag));
    return;
  }
  start(flight);
  if (held_back_) {
    Flight* kept = world_->flights.find(*held_back_);
    held_back_.reset();
    if (kept != nullptr) start(*kept);
  }
}

void Link::start(Flight& flight) {
  flight.sent = Timing(free_from(), sender_, chars_of(flight), half_bits_);
  flight.heard = flight.sent;
  flight.heard.move_to(flight.sent.start() + conditions_.spec().isolator_delay);
  free_at_ = flight.sent.end();
  world_->queue.push(flight.sent.start(), Rank::signal, index_, 0, *this, word(signal, flight.tag));
}

/// A frame that a node passes on while it comes in: its times are in flight.sent already.
void Link::pass(Flight& flight, Nanos at) {
  judge(flight, false);
  flight.heard = flight.sent;
  flight.heard.move_to(flight.sent.start() + conditions_.spec().isolator_delay);
  if (free_at_ > flight.sent.start()) {
    flight.merged = true;  // something else is on the wire
  } else {
    free_at_ = flight.sent.end();
  }
  world_->queue.push(std::max(at, flight.sent.start()), Rank::signal, index_, 0, *this, word(signal, flight.tag));
}

void Link::send_bytes(std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags, bool paced,
                      const Parcel& parcel, std::uint32_t row, std::uint32_t slot_offset) {
  Flight& flight = prepare(parcel);
  flight.has_wire = true;
  flight.wire.assign(bytes);
  flight.slot_offset = slot_offset;
  flight.row = row;
  const auto chars = static_cast<std::uint32_t>(flight.wire.size());
  if (!paced) {
    flight.sent = Timing(std::max(world_->queue.now(), free_at_), sender_, chars, half_bits_);
  } else {
    // They have taken their time already: the last one ended just now.
    const Nanos now = world_->queue.now();
    flight.sent = Timing(now - char_span(chars), sender_, chars, half_bits_);
  }
  flight.heard = flight.sent;
  if (!paced) flight.heard.move_to(flight.sent.start() + conditions_.spec().isolator_delay);
  free_at_ = flight.sent.end();
  if (!paced) {
    world_->queue.push(flight.sent.start(), Rank::signal, index_, 0, *this, word(signal, flight.tag));
    return;
  }
  // A real wire has done to them what it does; they are heard as the port heard them.
  if (row == 0xffffffff) {
    const Parcel& mine = flight.parcel;
    flight.row = world_->traces.add_row(mine.exchange, {flight.sent.start(), flight.heard.end(), index_, static_cast<std::uint16_t>(chars),
                                                        mine.key.attempt, mine.key.answering, mine.key.copy, Symptom::none, false});
  }
  world_->traces.row_heard_something(parcel.exchange, flight.row);
  world_->queue.push(flight.heard.end() + end_silence_, Rank::release, index_, 0, *this, word(release, flight.tag));
  chars_.clear();
  for (std::uint32_t i = 0; i < chars; ++i) {
    HeardChar each;
    each.byte = flight.wire[i];
    const std::uint8_t flag = i < flags.size() ? flags[i] : 0;
    each.framing_error = (flag & 1U) != 0;
    each.parity_error = (flag & 2U) != 0;
    each.overrun = (flag & 4U) != 0;
    each.start = flight.heard.char_start(i);
    each.end = flight.heard.char_end(i);
    each.tag = flight.tag;
    chars_.push_back(each);
  }
  fresh_.clear();
  ear_.hear(chars_, fresh_);
  schedule(fresh_);
  arm();
}

// --- what becomes of them --------------------------------------------------------------------------------

void Link::on_event(Nanos now, std::uint64_t what) {
  const auto kind = static_cast<Kind>(what >> 32U);
  const auto which = static_cast<std::uint32_t>(what);
  if (kind == heard) {
    const Finding finding = *findings_[which];
    free_findings_.push_back(which);
    Finding told = finding;
    dispatch(now, told);
    return;
  }
  if (kind == wake) {
    if (armed_for_ != now) return;
    armed_for_ = never;
    if (node_ != nullptr && node_->off_at(now)) ear_.reset();
    fresh_.clear();
    ear_.wake(now, fresh_);
    std::vector<Finding> told = fresh_;
    for (Finding& finding : told) dispatch(now, finding);
    arm();
    return;
  }
  Flight* flight = world_->flights.find(which);
  if (flight == nullptr) return;
  switch (kind) {
    case launch: start(*flight); break;
    case signal: on_signal(now, *flight); break;
    case head: on_head(now, *flight); break;
    case release: on_release(now, *flight); break;
    case let_go:
      if (held_back_ == which) {
        held_back_.reset();
        start(*flight);
      }
      break;
    case heard:
    case wake: break;
  }
}

void Link::on_signal(Nanos /*now*/, Flight& flight) {
  const Parcel& parcel = flight.parcel;
  if (flight.row == 0xffffffff) {
    flight.row = world_->traces.add_row(
        parcel.exchange, {flight.sent.start(), flight.heard.end(), index_, static_cast<std::uint16_t>(flight.sent.chars()),
                          parcel.key.attempt, parcel.key.answering, parcel.key.copy, Symptom::none, parcel.inherited});
  }
  world_->queue.push(flight.heard.end() + end_silence_, Rank::release, index_, 0, *this, word(release, flight.tag));

  if (from_ != nullptr && from_->off_in(flight.sent.start(), flight.sent.end())) flight.cut_off = true;
  if (node_ != nullptr && node_->off_in(flight.heard.start(), flight.heard.end())) flight.deaf = true;
  if (flight.lost || flight.merged) {
    resolve(flight, Symptom::nothing);
    explain(flight, false);
    return;
  }

  const ForwardingSpec* passes = passing();
  const bool by_character = passes != nullptr && passes->kind == Forwarding::by_character;
  bool clean = world_->way == Way::events && !parcel.raw && !flight.has_wire && !flight.has_levels &&
               flight.inverted.empty() && !flight.cut_off && !flight.deaf && ear_.idle_at(flight.heard.start()) &&
               ear_.surely_in_step(flight.sent.period()) &&
               conditions_.surely_clean(parcel.key, flight.heard, flight.sent.chars() * slots_per_char_);
  if (clean && by_character) {
    times_.clear();
    for (std::uint32_t i = 0; i < flight.heard.chars(); ++i) times_.push_back(flight.heard.char_end(i));
    plan_relay(flight, times_);
    clean = !flight.relay.overrun;
  }
  if (!clean) {
    hear_bytes(flight);
    return;
  }
  flight.clean = true;
  fresh_.clear();
  ear_.hear_clean(parcel.frame, flight.heard, flight.tag, fresh_);
  world_->traces.row_heard_something(parcel.exchange, flight.row);
  schedule(fresh_);
  arm();
  if (outlet_) {
    wire_of(flight, wire_);
    give_out(flight, wire_.view());
  }
  if (passes != nullptr && !by_character) pass_electrically(flight, nullptr, false);
}

void Link::hear_bytes(Flight& flight) {
  const LineCoding& line = world_->protocol.line();
  wire_of(flight, wire_);
  if (flight.has_levels) {
    levels_ = flight.levels;
    levels_.shift(conditions_.spec().isolator_delay);
  } else {
    to_levels(wire_.view(), line, flight.heard, levels_);
  }
  const std::uint32_t slots = flight.heard.chars() * slots_per_char_;
  conditions_.noise(flight.parcel.key, flight.heard, slots, flight.slot_offset, noise_, flight.strikes);
  for (const std::uint32_t slot : noise_) invert_slot(line, flight.heard, slot, levels_);
  for (const std::uint32_t slot : flight.inverted) {
    if (slot < slots) invert_slot(line, flight.heard, slot, levels_);
  }
  conditions_.cuts(flight.heard, levels_, flight.strikes);
  if (flight.cut_off) {  // the sender fell silent in the middle
    const Nanos from = from_->first_off_in(flight.sent.start(), flight.sent.end()) + conditions_.spec().isolator_delay;
    levels_.force(from, flight.heard.end(), true);
  }

  chars_.clear();
  ear_.sample(levels_, flight.heard, flight.tag, chars_);

  const ForwardingSpec* passes = passing();
  if (passes != nullptr && passes->kind == Forwarding::by_character) {
    times_.clear();
    kept_.clear();
    for (const HeardChar& each : chars_) {
      if (node_->off_at(each.end)) continue;
      times_.push_back(each.end);
      kept_.push_back(each);
    }
    plan_relay(flight, times_);
    flight.relay_bytes.clear();
    for (const std::uint32_t i : flight.relay.passed) {
      flight.relay_bytes.push_back(kept_[i].byte);
      flight.relay_damaged = flight.relay_damaged || kept_[i].framing_error || kept_[i].parity_error;
    }
    if (flight.relay.overrun) {  // the node's own ear has missed them too
      flight.overrun = true;
      flight.relay_damaged = true;
      std::vector<HeardChar> through;
      std::uint32_t expected = 0;
      for (const std::uint32_t i : flight.relay.passed) {
        through.push_back(kept_[i]);
        through.back().overrun = i != expected;
        expected = i + 1;
      }
      chars_ = through;
    }
  }

  fresh_.clear();
  if (flight.deaf) {
    // Heard up to the moment the node went off, and again from the moment it is back.
    kept_.clear();
    for (const HeardChar& each : chars_) {
      if (!node_->off_in(each.start, each.end)) {
        kept_.push_back(each);
        continue;
      }
      ear_.hear(kept_, fresh_);
      kept_.clear();
      ear_.reset();
    }
    ear_.hear(kept_, fresh_);
  } else {
    ear_.hear(chars_, fresh_);
  }
  if (!chars_.empty()) {
    world_->traces.row_heard_something(flight.parcel.exchange, flight.row);
  } else if (ear_.idle_at(flight.heard.start())) {
    resolve(flight, Symptom::nothing);
    explain(flight, false);
  }
  schedule(fresh_);
  arm();
  if (outlet_) {
    WireBytes out;
    for (const HeardChar& each : chars_) out.push_back(each.byte);
    give_out(flight, out.view());
  }
  if (passes != nullptr && passes->kind == Forwarding::electrical) {
    bool same = chars_.size() == wire_.size();
    for (std::size_t i = 0; same && i < chars_.size(); ++i) {
      same = chars_[i].byte == wire_[i] && !chars_[i].framing_error && !chars_[i].parity_error;
    }
    const bool struck = flight.strikes.any() || !flight.inverted.empty() || flight.cut_off;
    pass_electrically(flight, &levels_, struck && !same);
  }
}

void Link::give_out(const Flight& flight, std::span<const std::uint8_t> bytes) {
  if (!bytes.empty()) outlet_(flight.heard.start(), flight.sent.period(), bytes);
}

void Link::plan_relay(Flight& flight, std::span<const Nanos> heard_at) {
  const ForwardingSpec& spec = node_->kind().forwarding;
  const std::size_t decide_after = std::max<std::size_t>(head_chars(), 1);
  flight.relay = {};
  if (heard_at.size() < decide_after) return;
  const Period out = node_->period();
  const Nanos lag = half_edge(0, spec.lag_half_bits, out);
  const Nanos head_at = heard_at[decide_after - 1];
  retime(heard_at, head_at + lag, lag, half_bits_, out, spec.fifo_chars, flight.relay);
  world_->queue.push(head_at, Rank::arrival, index_, 0, *this, word(head, flight.tag));
}

void Link::on_head(Nanos now, Flight& flight) {
  if (node_->off_at(now) || flight.passed_on) return;
  const std::uint16_t onward = world_->onward_link(node_->index(), index_);
  Parcel out = flight.parcel;
  const Blame off_chain{Cause::passes_used_up, static_cast<std::uint16_t>(node_->index()), nobody, no_fault};
  const std::size_t bytes = head_chars();
  if (bytes > 0) {
    Frame seen = flight.parcel.frame;
    if (!flight.clean) {
      const auto read = flight.relay_bytes.size() < bytes
                            ? std::nullopt
                            : world_->protocol.parse_head(flight.relay_bytes.view().first(bytes));
      if (!read) {
        if (node_->kind().on_bad_check != OnBadCheck::pass_on) return;
      } else {
        seen = *read;
        if (world_->protocol.description().roles.tell_role != TellRole::by_field) seen.role = flight.parcel.frame.role;
      }
      Frame unused;
      out.raw = true;
      out.content = flight.relay_bytes;
      out.inherited = flight.relay_damaged || world_->protocol.parse(out.content.view(), unused) != Damage::none;
      if (read && !node_->takes_off(seen)) {
        if (!world_->protocol.forward_bytes(out.content)) {
          world_->traces.blame(out.exchange, out.key.attempt, off_chain);
          return;
        }
      }
    }
    if (node_->takes_off(seen)) return;
    if (!world_->protocol.forward(out.frame) && flight.clean) {
      world_->traces.blame(out.exchange, out.key.attempt, off_chain);
      return;
    }
  } else if (!flight.clean) {
    out.inherited = flight.relay_damaged || flight.parcel.inherited;
  }
  flight.passed_on = true;
  Link& next = *world_->links[onward];
  Flight& further = next.prepare(out);
  if (bytes == 0 && !flight.clean) {
    further.has_wire = true;
    further.wire.assign(flight.relay_bytes.view());
  }
  further.sent = Timing(flight.relay.starts.front(), node_->period(), 0, half_bits_);
  further.sent.set_starts(flight.relay.starts);
  next.pass(further, now);
}

void Link::pass_electrically(Flight& flight, const Levels* levels, bool damaged) {
  if (node_->off_at(flight.heard.start())) return;
  Link& next = *world_->links[world_->onward_link(node_->index(), index_)];
  Parcel out = flight.parcel;
  out.inherited = out.inherited || damaged;
  Flight& further = next.prepare(out);
  const Nanos delay = node_->kind().forwarding.delay;
  if (flight.has_wire) {
    further.has_wire = true;
    further.wire = flight.wire;
  }
  if (levels != nullptr) {
    further.has_levels = true;
    further.levels = *levels;
    further.levels.shift(delay);
  }
  further.sent = flight.heard;
  further.sent.move_to(flight.heard.start() + delay);
  flight.passed_on = true;
  next.pass(further, world_->queue.now());
}

void Link::on_release(Nanos now, Flight& flight) {
  if (!flight.resolved && !flight.explained && !flight.has_wire) explain(flight, false);
  const std::uint64_t exchange = flight.parcel.exchange;
  world_->flights.land(flight);
  world_->traces.release(exchange, now);
}

void Link::schedule(std::vector<Finding>& findings) {
  for (Finding& finding : findings) {
    std::uint32_t place = 0;
    if (free_findings_.empty()) {
      place = static_cast<std::uint32_t>(findings_.size());
      findings_.push_back(std::make_unique<Finding>());
    } else {
      place = free_findings_.back();
      free_findings_.pop_back();
    }
    *findings_[place] = finding;
    world_->queue.push(std::max(world_->queue.now(), finding.known_at), Rank::arrival, index_, 1, *this, word(heard, place));
  }
  findings.clear();
}

void Link::arm() {
  const Nanos wanted = ear_.wants_wake();
  if (wanted == armed_for_) return;
  armed_for_ = wanted;
  if (wanted != never) {
    armed_for_ = std::max(wanted, world_->queue.now());
    world_->queue.push(armed_for_, Rank::wake, index_, 0, *this, word(wake, 0));
  }
}

void Link::dispatch(Nanos now, Finding& finding) {
  Flight* first = world_->flights.find(finding.first_tag);
  Flight* last = world_->flights.find(finding.last_tag);
  const Symptom symptom = symptom_of(finding);
  if (last != nullptr && world_->protocol.description().roles.tell_role != TellRole::by_field) {
    finding.frame.role = last->parcel.frame.role;
  }
  if (symptom == Symptom::none) {
    if (last != nullptr && !last->resolved) {
      resolve(*last, Symptom::none);
      if (!last->has_wire && finding.frame != last->parcel.frame) explain(*last, true);
    }
  } else {
    for (Flight* each : {first, last}) {
      if (each == nullptr || each->resolved) continue;
      resolve(*each, symptom);
      explain(*each, false);
    }
  }
  if (node_ != nullptr && node_->off_at(now)) {
    if (last != nullptr) {
      world_->traces.blame(last->parcel.exchange, last->parcel.key.attempt,
                           {Cause::node_off, static_cast<std::uint16_t>(node_->index()), index_, no_fault});
    }
    return;
  }
  if (listener_ && symptom == Symptom::none) listener_(finding);
  station_->on_heard(now, index_, {&finding, last, symptom});
}

void Link::resolve(Flight& flight, Symptom symptom) {
  flight.resolved = true;
  world_->traces.resolve_row(flight.parcel.exchange, flight.row, symptom);
}

void Link::explain(Flight& flight, bool undetected) {
  if (flight.explained) return;
  flight.explained = true;
  const Parcel& parcel = flight.parcel;
  bool any = false;
  const auto because = [&](bool true_here, Cause cause, std::uint32_t fault, std::uint32_t bit) {
    if (!true_here) return;
    any = true;
    world_->traces.add_truth(parcel.exchange, {flight.row, cause, fault, bit, undetected});
    world_->traces.blame(parcel.exchange, parcel.key.attempt, {cause, nobody, index_, fault});
  };
  const bool struck = flight.injected.cause == Cause::injected_corruption || flight.injected.cause == Cause::injected_loss ||
                      flight.lost || !flight.inverted.empty();
  because(struck, flight.injected.cause, flight.injected.fault, flight.inverted.empty() ? 0xffffffffU : flight.inverted.front());
  because(flight.cut_off, Cause::injected_reset, no_fault, 0xffffffffU);
  because(flight.strikes.open, Cause::cable_open, no_fault, 0xffffffffU);
  because(flight.strikes.contact, Cause::contact, no_fault, 0xffffffffU);
  because(flight.strikes.burst, Cause::burst, no_fault, flight.strikes.first_slot);
  because(flight.strikes.noise, Cause::bit_noise, no_fault, flight.strikes.first_slot);
  because(flight.deaf, Cause::node_off, no_fault, 0xffffffffU);
  because(flight.overrun, Cause::fifo_overrun, no_fault, 0xffffffffU);
  because(flight.merged, Cause::merged, no_fault, 0xffffffffU);
  because(parcel.inherited, Cause::inherited, no_fault, 0xffffffffU);
  if (any) return;
  because(true, ear_.surely_in_step(flight.sent.period()) ? Cause::merged : Cause::clock, no_fault, 0xffffffffU);
}

}  // namespace hopbench
