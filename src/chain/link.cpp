// A link's sending side: frames on the wire one after the other.
#include "chain/link.h"

#include <algorithm>
#include <utility>

#include "chain/node.h"

namespace hopbench {

Link::Link(World& world, std::uint16_t index, const std::string& name, Period sender, Period receiver,
           const ReceiverSpec& receiver_spec, const Processor* processor)
    : world_(&world),
      index_(index),
      name_hash_(name_hash(name)),
      sender_(sender),
      receiver_(receiver),
      processor_(processor != nullptr && !processor->idle() ? processor : nullptr),
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

void Link::take_up(bool charging) {
  if (from_ != nullptr && from_->period() != sender_) {
    sender_ = from_->period();
    gap_ = world_->protocol.least_gap(sender_);
  }
  if (node_ != nullptr) receiver_ = node_->period();
  edges_.clear();
  for (const Node* end : {static_cast<const Node*>(from_), static_cast<const Node*>(node_)}) {
    if (end != nullptr) end->bleed_edges(edges_);
  }
  conditions_.set_surroundings(charging, edges_);
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

/// Asks the injector, then lets the flight go as it says. `whole`: the frame is at hand and may be kept back or sent
/// later; false for one that is passed on while it comes in, with its times fixed already.
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
    if (world_->crowded()) break;  // the run ends here
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
  flight.foreign = true;
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
    flight.row = world_->traces.add_row(
        mine.exchange, {flight.sent.start(), flight.heard.end(), index_, static_cast<std::uint16_t>(chars),
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

void Link::on_event(Nanos now, std::uint64_t what) {
  const auto kind = static_cast<Kind>(what >> 32U);
  const auto which = static_cast<std::uint32_t>(what);
  if (kind == heard) {
    dispatch(now, *findings_[which]);
    free_findings_.push_back(which);
    return;
  }
  if (kind == wake) {
    if (armed_for_ != now) return;
    armed_for_ = never;
    if (node_ != nullptr && node_->off_at(now)) ear_.reset();
    fresh_.clear();
    ear_.wake(now, fresh_);
    if (node_ == nullptr && processor_ != nullptr) {
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
  Flight* flight = world_->flights.find(which);
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
    case heard:
    case wake:
      break;
  }
}

}  // namespace hopbench
