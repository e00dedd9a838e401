// Frames that a node passes on while they come in: by character, or as edges.
#include "wires/link.h"

#include <algorithm>

namespace hopbench {

std::size_t Link::head_chars() const {
  const FramingKind kind = works_->protocol.description().framing.kind;
  const bool plain = kind == FramingKind::sized || kind == FramingKind::fixed || kind == FramingKind::silence;
  return plain ? works_->protocol.head_bytes() : 0;
}

void Link::plan_relay(Flight& flight, std::span<const Nanos> heard_at) {
  const ForwardingSpec& spec = *to_->passing();
  const std::size_t decide_after = std::max<std::size_t>(head_chars(), 1);
  flight.relay = {};
  if (heard_at.size() < decide_after) return;
  const Period out = to_->period();
  const Nanos lag = half_edge(0, spec.lag_half_bits, out);
  const Nanos head_at = heard_at[decide_after - 1];
  retime(heard_at, head_at + lag, lag, half_bits_, out, spec.fifo_chars, flight.relay);
  works_->queue.push(head_at, Rank::arrival, index_, 0, *this, word(head, flight.tag));
}

bool Link::head_as_sent(const Flight& flight, std::size_t chars) {
  if (flight.clean) return true;
  wire_of(flight, wire_);
  return std::ranges::equal(flight.relay_bytes.view().first(chars), wire_.view().first(chars));
}

void Link::on_head(Nanos now, Flight& flight) {
  if (to_->off_at(now) || flight.passed_on) return;
  Parcel out = flight.parcel;
  const std::size_t bytes = head_chars();
  // Where damage has used its passes up, the damage is the reason: told when the frame's end has been heard.
  const auto off_the_chain = [&] {
    if (out.passport.inherited || !head_as_sent(flight, bytes)) return;
    works_->traces.blame(out.passport, {Cause::passes_used_up, to_->node(), nobody, no_fault});
  };
  if (bytes > 0) {
    Frame seen = flight.parcel.frame;
    seen.payload.clear();  // it has not come yet
    if (!flight.clean) {
      const auto read = flight.relay_bytes.size() < bytes
                            ? std::nullopt
                            : works_->protocol.parse_head(flight.relay_bytes.view().first(bytes));
      if (!read) {
        if (!to_->passes_bad_heads()) return;
      } else {
        seen = *read;
      }
      Frame unused;
      out.raw = true;
      out.content = flight.relay_bytes;
      out.passport.inherited =
          flight.relay_damaged || works_->protocol.parse(out.content.view(), unused) != Damage::none;
      if (read && !to_->takes_off(seen, index_)) {
        if (!works_->protocol.forward_bytes(out.content)) return off_the_chain();
      }
    }
    if (to_->takes_off(seen, index_)) return;
    if (!works_->protocol.forward(out.frame) && flight.clean) return off_the_chain();
  } else if (!flight.clean) {
    wire_of(flight, wire_);
    const bool as_sent = std::ranges::equal(flight.relay_bytes.view(), wire_.view());
    out.passport.inherited = flight.parcel.passport.inherited || flight.relay_damaged || !as_sent;
  }
  flight.passed_on = true;
  Flight& further = next_->prepare(out);
  further.foreign = flight.foreign;
  if (bytes == 0 && !flight.clean) {
    further.has_wire = true;
    further.wire.assign(flight.relay_bytes.view());
  }
  further.sent = Timing(flight.relay.starts.front(), to_->period(), 0, half_bits_);
  further.sent.set_starts(flight.relay.starts);
  next_->pass(further, now);
}

void Link::pass_electrically(Flight& flight, const Levels* levels, bool damaged) {
  if (to_->off_at(flight.heard.start())) return;
  Parcel out = flight.parcel;
  out.passport.inherited = out.passport.inherited || damaged;
  Flight& further = next_->prepare(out);
  further.foreign = flight.foreign;
  const Nanos delay = to_->passing()->delay;
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
  next_->pass(further, works_->queue.now());
}

}  // namespace hopbench
