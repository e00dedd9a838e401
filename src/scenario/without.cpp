#include "scenario/without.h"

#include <algorithm>

namespace hopbench {
namespace {

/// Puts values in place of others and keeps in mind whether any was another.
class Change {
 public:
  template <class T>
  void set(T& field, const T& value) {
    if (field == value) return;
    field = value;
    made_ = true;
  }
  template <class T>
  void clear(std::vector<T>& list) {
    made_ = made_ || !list.empty();
    list.clear();
  }
  [[nodiscard]] bool made() const { return made_; }

 private:
  bool made_ = false;
};

/// A FIFO that nothing overruns: no frame has that many characters, and the scenario's limit is the same.
constexpr std::uint32_t large_fifo = 1024;

template <class F>
void each_board(ChainDescription& chain, F f) {
  for (KindSpec& kind : chain.kinds) f(kind.board);
  for (NodeSpec& node : chain.nodes) {
    if (node.board) f(*node.board);
  }
}

void no_bit_noise(ChainDescription& chain, Change& change) {
  for (LinkSpec& link : chain.links) change.set(link.bit_error, Ppq{0});
}

void no_bursts(ChainDescription& chain, Change& change) {
  for (LinkSpec& link : chain.links) change.set(link.burst.mean_good, Nanos{0});
}

void no_contact(ChainDescription& chain, Change& change) {
  for (LinkSpec& link : chain.links) change.set(link.contact.mean_between, Nanos{0});
}

void no_cable(ChainDescription& chain, Change& change) {
  for (LinkSpec& link : chain.links) change.clear(link.opens);
}

void exact(ClockSpec& clock, Change& change) {
  change.set(clock.error_ppb, std::int64_t{0});
  change.set(clock.spread_ppb, std::int64_t{0});
  change.set(clock.oscillator_hz, std::uint64_t{0});
}

void no_clock(ChainDescription& chain, Change& change) {
  for (KindSpec& kind : chain.kinds) exact(kind.clock, change);
  for (NodeSpec& node : chain.nodes) {
    if (node.clock) exact(*node.clock, change);
  }
  exact(chain.controller.clock, change);
  each_board(chain, [&](BoardSpec& board) {
    change.set(board.clock_ppb_per_k, std::int64_t{0});
    change.set(board.clock_ppb_per_v, std::int64_t{0});
  });
}

void no_busy_node(ChainDescription& chain, Change& change) {
  for (KindSpec& kind : chain.kinds) change.clear(kind.processor.duties);
}

void no_measurement(ChainDescription& chain, Change& change) {
  for (KindSpec& kind : chain.kinds) {
    MeasurementSpec& measurement = kind.measurement;
    change.set(measurement.when, MeasureWhen::on_ask);
    if (measurement.bleed == BleedWhile::kept_on) change.set(measurement.bleed, BleedWhile::paused);
    change.set(measurement.settle, Nanos{0});
    change.set(measurement.snapshot, Nanos{0});
    change.set(measurement.per_cell, Nanos{0});
  }
}

void no_charger(ChainDescription& chain, Change& change) {
  for (LinkSpec& link : chain.links) {
    change.set(link.line_ripple.window, Nanos{0});
    change.set(link.switching_ripple.window, Nanos{0});
  }
}

void no_pulse_width(ChainDescription& chain, Change& change) {
  for (LinkSpec& link : chain.links) change.set(link.pulse_stretch, Nanos{0});
}

void no_bleed_edges(ChainDescription& chain, Change& change) {
  for (LinkSpec& link : chain.links) change.set(link.bleed_edge.window, Nanos{0});
}

void no_supply(ChainDescription& chain, Change& change) {
  each_board(chain, [&](BoardSpec& board) { change.set(board.brown_out_uv, std::int64_t{0}); });
}

void no_watchdog(ChainDescription& chain, Change& change) {
  for (KindSpec& kind : chain.kinds) change.set(kind.processor.watchdog, Nanos{0});
}

void no_room(ChainDescription& chain, Change& change) {
  for (KindSpec& kind : chain.kinds) {
    change.set(kind.buffer_bytes, 0U);
    if (kind.forwarding.kind == Forwarding::by_character) change.set(kind.forwarding.fifo_chars, large_fifo);
  }
}

void no_wake_up(ChainDescription& chain, Change& change) {
  for (KindSpec& kind : chain.kinds) change.set(kind.sleep_after, Nanos{0});
}

void no_controller(ChainDescription& chain, Change& change) {
  change.clear(chain.controller.processor.duties);
  change.set(chain.controller.wrap.bits, 0U);
}

void no_balancing(ChainDescription& chain, Change& change) {
  BalancingSpec& balancing = chain.controller.balancing;
  change.set(balancing.every, Nanos{0});
  // A plan may tell nodes to bleed, rule or not. The ask stays, so that the rest of the plan keeps its place; it says
  // "none".
  for (PlanEntry& entry : chain.controller.plan) {
    if (entry.topic != balancing.topic) continue;
    for (auto& [field, value] : entry.arguments) {
      if (field == balancing.field) change.set(value, std::uint64_t{0});
    }
  }
}

void no_injected(ChainDescription& chain, Change& change) { change.clear(chain.faults); }

Change take_out(ChainDescription& chain, Mechanism mechanism) {
  Change change;
  switch (mechanism) {
    case Mechanism::bit_noise:
      no_bit_noise(chain, change);
      break;
    case Mechanism::bursts:
      no_bursts(chain, change);
      break;
    case Mechanism::contact:
      no_contact(chain, change);
      break;
    case Mechanism::cable:
      no_cable(chain, change);
      break;
    case Mechanism::clock:
      no_clock(chain, change);
      break;
    case Mechanism::busy_node:
      no_busy_node(chain, change);
      break;
    case Mechanism::measurement:
      no_measurement(chain, change);
      break;
    case Mechanism::charger:
      no_charger(chain, change);
      break;
    case Mechanism::pulse_width:
      no_pulse_width(chain, change);
      break;
    case Mechanism::bleed_edges:
      no_bleed_edges(chain, change);
      break;
    case Mechanism::supply:
      no_supply(chain, change);
      break;
    case Mechanism::watchdog:
      no_watchdog(chain, change);
      break;
    case Mechanism::room:
      no_room(chain, change);
      break;
    case Mechanism::wake_up:
      no_wake_up(chain, change);
      break;
    case Mechanism::controller:
      no_controller(chain, change);
      break;
    case Mechanism::balancing:
      no_balancing(chain, change);
      break;
    case Mechanism::injected:
      no_injected(chain, change);
      break;
  }
  return change;
}

}  // namespace

ChainDescription without(ChainDescription chain, Mechanism mechanism) {
  take_out(chain, mechanism);
  return chain;
}

ChainDescription without(ChainDescription chain, std::span<const Mechanism> mechanisms) {
  for (const Mechanism each : mechanisms) take_out(chain, each);
  return chain;
}

ChainDescription with_only(ChainDescription chain, std::span<const Mechanism> kept) {
  for (const Mechanism each : mechanisms()) {
    if (each != Mechanism::balancing && std::find(kept.begin(), kept.end(), each) == kept.end()) take_out(chain, each);
  }
  return chain;
}

bool has_mechanism(const ChainDescription& chain, Mechanism mechanism) {
  ChainDescription copy = chain;
  return take_out(copy, mechanism).made();
}

std::vector<Mechanism> mechanisms_of(const ChainDescription& chain) {
  std::vector<Mechanism> found;
  for (const Mechanism each : mechanisms()) {
    if (has_mechanism(chain, each)) found.push_back(each);
  }
  return found;
}

}  // namespace hopbench
