// Frames that a node passes on while they come in: by character, or as edges.
#include "chain/link.h"

#include <algorithm>

#include "chain/node.h"

namespace hopbench {

std::size_t Link::head_chars() const {
  const FramingKind kind = world_->protocol.description().framing.kind;
  const bool plain = kind == FramingKind::sized || kind == FramingKind::fixed || kind == FramingKind::silence;
  return plain ? world_->protocol.head_bytes() : 0;
}

const ForwardingSpec* Link::passing() const {
  if (node_ == nullptr || node_->kind().forwarding.kind == Forwarding::whole) return nullptr;
  return world_->onward_link(node_->index(), index_) == nobody ? nullptr : &node_->kind().forwarding;
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
  further.foreign = flight.foreign;
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
  further.foreign = flight.foreign;
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
  further.stretch = flight.stretch + conditions_.spec().pulse_stretch;
  further.sent = flight.heard;
  further.sent.move_to(flight.heard.start() + delay);
  flight.passed_on = true;
  next.pass(further, world_->queue.now());
}

}  // namespace hopbench
