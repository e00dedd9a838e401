// A link's far end: what the line does to a frame, what the ear makes of it, and why.
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
    case Damage::none:
      return Symptom::none;
    case Damage::too_short:
      return Symptom::too_short;
    case Damage::too_long:
      return Symptom::too_long;
    case Damage::check:
    case Damage::malformed:
      return Symptom::check;
  }
  return Symptom::check;
}

}  // namespace

void Link::on_signal(Nanos /*now*/, Flight& flight) {
  const Parcel& parcel = flight.parcel;
  if (flight.row == 0xffffffff) {
    flight.row = world_->traces.add_row(
        parcel.exchange,
        {flight.sent.start(), flight.heard.end(), index_, static_cast<std::uint16_t>(flight.sent.chars()),
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
  bool clean = world_->way != Way::every_byte && !parcel.raw && !flight.has_wire && !flight.has_levels &&
               flight.inverted.empty() && !flight.cut_off && !flight.deaf && ear_.idle_at(flight.heard.start()) &&
               ear_.surely_in_step(flight.sent.period(), 0) &&
               conditions_.surely_clean(parcel.key, flight.heard, flight.sent.chars() * slots_per_char_);
  // A character that ends as the node goes off is heard, but not passed on any more.
  if (clean && by_character && node_->off_at(flight.heard.end())) clean = false;
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
  ++world_->byte_hearings;
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

void Link::on_release(Nanos now, Flight& flight) {
  if (!flight.resolved && !flight.explained && !flight.foreign) explain(flight, false);
  const std::uint64_t exchange = flight.parcel.exchange;
  world_->traces.row_over(exchange, flight.row);
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
    world_->queue.push(std::max(world_->queue.now(), finding.known_at), Rank::arrival, index_, 1, *this,
                       word(heard, place));
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
      if (!last->foreign && finding.frame != last->parcel.frame) explain(*last, true);
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
  const bool struck = flight.injected.cause == Cause::injected_corruption ||
                      flight.injected.cause == Cause::injected_loss || flight.lost || !flight.inverted.empty();
  because(struck, flight.injected.cause, flight.injected.fault,
          flight.inverted.empty() ? 0xffffffffU : flight.inverted.front());
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
  because(true, ear_.surely_in_step(flight.sent.period(), 0) ? Cause::merged : Cause::clock, no_fault, 0xffffffffU);
}

}  // namespace hopbench
