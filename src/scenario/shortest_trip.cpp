#include "scenario/shortest_trip.h"

#include <algorithm>

#include "line/signal.h"
#include "scenario/link_table.h"

namespace hopbench {
namespace {

/// Characters that a frame has at least, whatever its content makes of the stuffing.
std::uint64_t least_chars(const Protocol& protocol, const Frame& frame) {
  const FramingSpec& framing = protocol.description().framing;
  const std::uint64_t boundaries = framing.leading_boundary ? 2 : 1;
  const std::uint64_t content = protocol.content_bytes(frame);
  switch (framing.kind) {
    case FramingKind::cobs:
      return content + 1 + boundaries;
    case FramingKind::slip:
    case FramingKind::hdlc:
      return content + boundaries;
    case FramingKind::sized:
    case FramingKind::marked:
    case FramingKind::fixed:
    case FramingKind::silence:
      break;
  }
  return protocol.wire_chars(frame);
}

class Walk {
 public:
  Walk(const Protocol& protocol, const ChainDescription& chain)
      : protocol_(&protocol),
        chain_(&chain),
        links_(chain.shape, chain.nodes.size()),
        period_(period_of_baud(protocol.line().baud)),
        silence_(protocol.end_silence(period_)) {}

  [[nodiscard]] Nanos span(std::uint64_t chars) const {
    return half_edge(0, chars * protocol_->line().char_half_bits(), period_);
  }

  /// From the first edge on the first link until whoever it is for has heard the frame, on `links` links in a row.
  [[nodiscard]] Nanos along(std::uint16_t first, std::size_t links, std::uint64_t chars) const {
    Nanos begun = 0;  // first edge on the link at hand, at the sender
    for (std::size_t i = 0; i < links; ++i) {
      const std::size_t link = first + i;
      const Nanos arrives = begun + chain_->links[link].isolator_delay;
      if (i + 1 == links) return arrives + span(chars) + silence_;
      begun = arrives + passes_on_after(links_[link].to, chars);
    }
    return begun;
  }

 private:
  const Protocol* protocol_;
  const ChainDescription* chain_;
  LinkTable links_;
  Period period_;
  Nanos silence_;

  /// From the first edge that a node hears to the first edge that it sends.
  [[nodiscard]] Nanos passes_on_after(std::size_t node, std::uint64_t chars) const {
    const ForwardingSpec& way = chain_->kinds[chain_->nodes[node].kind].forwarding;
    switch (way.kind) {
      case Forwarding::whole:
        return span(chars) + silence_ + way.after;
      case Forwarding::by_character: {
        const std::uint64_t head = std::max<std::uint64_t>(protocol_->relay_head_bytes(), 1);
        return span(std::min(head, chars)) + half_edge(0, way.lag_half_bits, period_);
      }
      case Forwarding::electrical:
        return way.delay;
    }
    return 0;
  }
};

struct Measured {
  Nanos before = 0;  // from when it could answer until the values are taken
  Nanos after = 0;   // from then until they are converted
  bool waits = false;
};

Measured least_measurement(const KindSpec& kind, std::uint32_t cells) {
  const MeasurementSpec& measurement = kind.measurement;
  if (measurement.when == MeasureWhen::free_running) {
    return {0, measurement.snapshot + measurement.per_cell * kind.cells, false};
  }
  const Nanos settle = measurement.bleed == BleedWhile::paused ? measurement.settle : 0;
  return {settle + measurement.snapshot, measurement.per_cell * std::max<Nanos>(1, cells), true};
}

}  // namespace

ShortestTrip shortest_trip(const Protocol& protocol, const ChainDescription& chain, const PlanEntry& entry,
                           const Rehearsal& rehearsal) {
  const Walk walk(protocol, chain);
  const LinkTable links(chain.shape, chain.nodes.size());
  const std::uint64_t ask_chars = least_chars(protocol, rehearsal.ask);
  const Nanos sent = walk.span(ask_chars);
  if (entry.node == nobody) {
    return {everyone_comes_round(links, protocol.description()) ? walk.along(0, links.size(), ask_chars) - sent : 0, 0};
  }
  const KindSpec& kind = chain.kinds[chain.nodes[entry.node].kind];
  const std::uint64_t answer_chars = least_chars(protocol, rehearsal.answer);
  const std::uint16_t home = links.answers_on(entry.node);
  const Nanos out = walk.along(0, links.steps_to(entry.node) + 1, ask_chars) - sent;
  const Nanos back = walk.along(home, links.steps_home(entry.node) + 1, answer_chars);
  ShortestTrip trip{out + kind.answer_after + back, 0};
  if (!rehearsal.measured) return trip;
  const Measured measured = least_measurement(kind, rehearsal.cells);
  if (measured.waits) trip.answered += measured.before + measured.after;
  trip.age = measured.after + back;
  return trip;
}

}  // namespace hopbench
