// A link's sending side: frames on the wire one after the other.
#include "wires/link.h"

#include <algorithm>
#include <utility>

#include "stations/processor.h"

namespace hopbench {
namespace {

const Processor* busy_one(const Processor* processor) {
  return processor != nullptr && !processor->idle() ? processor : nullptr;
}

/// Content can never be taken for the edges of a frame, and every byte fits a character.
bool content_is_harmless(const BusDescription& bus) {
  if (bus.framing.kind != FramingKind::marked) return bus.line.data_bits == 8;
  return bus.framing.hex_text && bus.line.data_bits >= 7;
}

}  // namespace

Link::Link(Works& works, std::uint16_t index, const std::string& name, LinkEnd& from, LinkEnd& to,
           const ReceiverSpec& receiver)
    : works_(&works),
      index_(index),
      name_hash_(name_hash(name)),
      from_(&from),
      to_(&to),
      into_node_(to.node() != nobody),
      sender_(from.period()),
      receiver_(to.period()),
      processor_(busy_one(to.processor())),
      half_bits_(works.protocol.line().char_half_bits()),
      slots_per_char_(slots_per_char(works.protocol.line())),
      gap_(works.protocol.least_gap(sender_)),
      end_silence_(works.protocol.end_silence(receiver_)),
      conditions_(works.chain.links[index], works.luck, name, works.chain.start.at),
      ear_(works.protocol, receiver, receiver_),
      any_frame_reads_(content_is_harmless(works.protocol.description())),
      reader_(works.protocol, receiver_) {}

void Link::take_up(bool charging) {
  if (from_->period() != sender_) {
    sender_ = from_->period();
    gap_ = works_->protocol.least_gap(sender_);
  }
  receiver_ = to_->period();
  edges_.clear();
  from_->bleed_edges(edges_);
  to_->bleed_edges(edges_);
  conditions_.set_surroundings(charging, edges_);
}

Nanos Link::free_from() const {
  const Nanos now = works_->queue.now();
  return free_at_ < 0 ? now : std::max(now, free_at_ + gap_);
}

Nanos Link::char_span(std::uint64_t chars) const { return half_edge(0, chars * half_bits_, sender_); }

Timing Link::arrival(Nanos start, std::uint32_t chars) const {
  return {start + conditions_.spec().isolator_delay, sender_, chars, half_bits_};
}

std::uint32_t Link::chars_of(const Flight& flight) const {
  if (flight.has_wire) return static_cast<std::uint32_t>(flight.wire.size());
  if (!flight.parcel.raw) return works_->protocol.wire_chars(flight.parcel.frame);
  WireBytes wire;
  works_->protocol.wrap(flight.parcel.content.view(), wire);
  return static_cast<std::uint32_t>(wire.size());
}

void Link::wire_of(const Flight& flight, WireBytes& wire) const {
  if (flight.has_wire) {
    wire = flight.wire;
  } else if (flight.parcel.raw) {
    works_->protocol.wrap(flight.parcel.content.view(), wire);
  } else {
    Content content;
    works_->protocol.encode(flight.parcel.frame, content);
    works_->protocol.wrap(content.view(), wire);
  }
}

Flight& Link::prepare(const Parcel& parcel) {
  Flight& flight = works_->flights.add();
  flight.link = index_;
  flight.parcel = parcel;
  works_->traces.hold(parcel.passport.exchange);
  return flight;
}

Flight& Link::prepare(const Frame& frame, const Passport& passport) {
  Flight& flight = works_->flights.add();
  flight.link = index_;
  flight.parcel.frame = frame;
  flight.parcel.raw = false;
  flight.parcel.content.clear();
  flight.parcel.passport = passport;
  works_->traces.hold(passport.exchange);
  return flight;
}

Sent Link::send(const Parcel& parcel) { return send(prepare(parcel)); }

Sent Link::send(const Frame& frame, const Passport& passport) { return send(prepare(frame, passport)); }

Sent Link::send(Flight& flight) {
  flight.wanted = works_->queue.now();
  const Nanos begin = free_from();
  const Sent sent{begin, half_edge(begin, static_cast<std::uint64_t>(chars_of(flight)) * half_bits_, sender_)};
  judge(flight, true);
  return sent;
}

/// Asks the injector, then lets the flight go as it says. `whole`: the frame is at hand and may be kept back or sent
/// later; false for one that is passed on while it comes in, with its times fixed already.
void Link::judge(Flight& flight, bool whole) {
  const Nanos now = works_->queue.now();
  if (works_->injector.empty()) {
    if (whole) start(flight);
    return;
  }
  const std::uint32_t slots = chars_of(flight) * slots_per_char_;
  const Passport& passport = flight.parcel.passport;
  const Trace* trace = works_->traces.find(passport.exchange);
  const std::uint16_t node = trace == nullptr ? nobody : trace->node;
  const Parcel as_given = flight.parcel;
  works_->injector.judge(index_, name_hash_, now, slots, node, whole, flight.parcel, injection_);
  const Injection injection = injection_;
  for (const std::uint32_t fault : injection.struck) {
    works_->traces.struck(passport.exchange,
                          {fault, index_, passport.key.attempt, passport.key.answering, passport.key.copy});
  }
  flight.lost = injection.lost;
  flight.inverted = injection.inverted;
  flight.held_by = injection.nuisance.fault;
  flight.injected = injection.harm.cause != Cause::none ? injection.harm : injection.nuisance;
  if (injection.altered || injection.lost) {
    works_->traces.blame(passport, injection.harm);
  }
  if (injection.nuisance.cause != Cause::none) {
    works_->traces.suspect(passport.exchange, passport.key.attempt, injection.nuisance);
  }
  std::uint8_t copy = passport.key.copy;
  for (const Injection::Copy& each : injection.copies) {
    if (each.of_previous && !previous_) continue;
    if (works_->crowded()) break;  // the run ends here
    Parcel again = each.of_previous ? *previous_ : as_given;
    again.passport.key = as_given.passport.key;
    again.passport.key.copy = ++copy;
    again.passport.exchange = as_given.passport.exchange;
    again.passport.fake = again.passport.fake || each.of_previous;
    again.passport.forged_by = each.blame.fault;
    if (again.raw) {  // what says what it should may as well be made anew
      Content should;
      works_->protocol.encode(again.frame, should);
      again.raw = again.content != should;
    }
    again.passport.inherited = again.raw && again.passport.inherited;
    Flight& extra = prepare(again);
    extra.injected = each.blame;
    const Nanos out = free_from() + char_span(chars_of(flight)) + injection.delay + each.after;
    extra.wanted = out;
    works_->queue.push(out, Rank::signal, index_, 1, *this, word(launch, extra.tag));
  }
  if (passport.key.copy == 0) previous_ = as_given;
  if (!whole) return;
  if (injection.hold_back && !held_back_) {
    foretell(passport, injection.hold_for, flight.held_by);
    held_back_ = flight.tag;
    works_->queue.push(now + injection.hold_for, Rank::wake, index_, 2, *this, word(let_go, flight.tag));
    return;
  }
  if (injection.delay > 0) {
    foretell(passport, injection.delay, flight.held_by);
    works_->queue.push(now + injection.delay, Rank::signal, index_, 1, *this, word(launch, flight.tag));
    return;
  }
  start(flight);
  if (held_back_) {
    Flight* kept = works_->flights.find(*held_back_);
    held_back_.reset();
    if (kept != nullptr) start(*kept);
  }
}

/// The record may be closed while the frame is still held. When it goes, what held it is counted as it was.
void Link::foretell(const Passport& passport, Nanos held, std::uint32_t fault) {
  TryNotes* notes = works_->traces.notes(passport.exchange, passport.key.attempt);
  if (notes == nullptr) return;
  notes->holdups = passport.holdups;
  notes->holdups[Holdup::injected] += held;
  if (held <= passport.holdups.fault_held) return;
  notes->holdups.fault_held = held;
  notes->holdups.fault = fault;
}

/// Had something not held the frame up, when would it have started?
void Link::count_waiting(Flight& flight) {
  Holdups& holdups = flight.parcel.passport.holdups;
  const bool was_held_up = holdups.any();
  const Nanos now = works_->queue.now();
  const Nanos start = flight.sent.start();
  const Nanos end = flight.sent.end();
  if (!was_held_up && now <= flight.wanted && !occupied_.last_held_up() && sender_ == works_->nominal_period) {
    occupied_.add({start, end, {}});  // as it would be anyway
    return;
  }
  if (const Nanos held = now - flight.wanted; held > 0) {
    holdups[Holdup::injected] += held;
    if (held > holdups.fault_held) {
      holdups.fault_held = held;
      holdups.fault = flight.held_by;
    }
  }
  for (std::size_t i = 0; i < holdup_count; ++i) {
    const bool all_as_it_was = holdups.without[i] == 0 && occupied_.last_without(i) == 0;
    if (!all_as_it_was) holdups.without[i] = start - occupied_.free_from(now - holdups.without[i], gap_, i);
  }
  if (sender_ != works_->nominal_period) {
    holdups[Holdup::clock] +=
        end - start - half_edge(0, std::uint64_t{flight.sent.chars()} * half_bits_, works_->nominal_period);
  }
  occupied_.add({start, end, holdups.without});
  if (!was_held_up && !holdups.any()) return;
  const FrameKey& key = flight.parcel.passport.key;
  if (TryNotes* notes = works_->traces.notes(flight.parcel.passport.exchange, key.attempt)) notes->holdups = holdups;
}

void Link::start(Flight& flight) {
  flight.sent = Timing(free_from(), sender_, chars_of(flight), half_bits_);
  flight.heard = arrival(flight.sent.start(), flight.sent.chars());
  count_waiting(flight);
  free_at_ = flight.sent.end();
  works_->queue.push(flight.sent.start(), Rank::signal, index_, 0, *this, word(signal, flight.tag));
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
  works_->queue.push(std::max(at, flight.sent.start()), Rank::signal, index_, 0, *this, word(signal, flight.tag));
}

std::uint32_t Link::send_bytes(std::span<const std::uint8_t> bytes, std::span<const std::uint8_t> flags, bool paced,
                               const Parcel& parcel, std::uint32_t row, std::uint32_t slot_offset) {
  Flight& flight = prepare(parcel);
  flight.has_wire = true;
  flight.foreign = true;
  flight.wire.assign(bytes);
  flight.slot_offset = slot_offset;
  flight.row = row;
  const auto chars = static_cast<std::uint32_t>(flight.wire.size());
  if (!paced) {
    flight.sent = Timing(std::max(works_->queue.now(), free_at_), sender_, chars, half_bits_);
  } else {
    // They have taken their time already: the last one ended just now.
    const Nanos now = works_->queue.now();
    flight.sent = Timing(now - char_span(chars), sender_, chars, half_bits_);
  }
  flight.heard = flight.sent;
  if (!paced) flight.heard.move_to(flight.sent.start() + conditions_.spec().isolator_delay);
  free_at_ = flight.sent.end();
  if (row == 0xffffffff) {
    const Passport& mine = flight.parcel.passport;
    flight.row = works_->traces.add_row(
        mine.exchange, {flight.sent.start(), flight.heard.end(), index_, static_cast<std::uint16_t>(chars),
                        mine.key.attempt, mine.key.answering, mine.key.copy, Symptom::none, false});
  }
  if (!paced) {
    works_->queue.push(flight.sent.start(), Rank::signal, index_, 0, *this, word(signal, flight.tag));
    return flight.row;
  }
  // A real wire has done to them what it does; they are heard as the port heard them.
  works_->traces.row_heard_something(parcel.passport.exchange, flight.row);
  works_->queue.push(flight.heard.end() + end_silence_, Rank::release, index_, 0, *this, word(release, flight.tag));
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
  return flight.row;
}

void Link::on_event(Nanos now, std::uint64_t what) {
  const auto kind = static_cast<Kind>(what >> 32U);
  const auto which = static_cast<std::uint32_t>(what);
  if (kind == found) {
    dispatch(now, *findings_[which]);
    free_findings_.push_back(which);
    return;
  }
  if (kind == wake) {
    if (armed_for_ != now) return;
    armed_for_ = never;
    if (to_->off_at(now)) ear_.reset();
    fresh_.clear();
    ear_.wake(now, fresh_);
    if (!into_node_ && processor_ != nullptr) {
      schedule(fresh_);  // when the controller gets round to it
      arm();
      return;
    }
    std::swap(told_, fresh_);  // telling may bring more
    for (Finding& finding : told_) dispatch(now, finding);
    told_.clear();
    arm();
    return;
  }
  Flight* flight = works_->flights.find(which);
  if (flight == nullptr) return;
  switch (kind) {
    case launch:
      start(*flight);
      break;
    case signal:
      on_signal(now, *flight);
      break;
    case head:
      on_head(now, *flight);
      break;
    case release:
      on_release(now, *flight);
      break;
    case let_go:
      if (held_back_ == which) {
        held_back_.reset();
        start(*flight);
      }
      break;
    case found:
    case wake:
      break;
  }
}

}  // namespace hopbench
