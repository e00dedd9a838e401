// What all links and posts of a chain work with. It knows none of them. Owned by the chain.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>

#include "base/luck.h"
#include "books/tap.h"
#include "books/trace.h"
#include "bus/protocol.h"
#include "engine/event_queue.h"
#include "scenario/description.h"
#include "scenario/link_table.h"
#include "wires/flights.h"
#include "wires/injector.h"
#include "wires/way.h"

namespace hopbench {

struct Works {
  Works(const Protocol& the_protocol, const ChainDescription& the_chain, std::uint64_t seed, Way the_way,
        Sink& the_sink);
  Works(const Works&) = delete;
  Works& operator=(const Works&) = delete;

  const Protocol& protocol;
  const ChainDescription& chain;
  const LinkTable table;
  const Luck luck;
  const Period nominal_period;
  const Way way;
  Tap tap;  // everything that is told goes through it
  EventQueue queue;
  Traces traces;
  Injector injector;
  Flights flights;
  std::uint64_t byte_hearings = 0;   // frames that went through a receiver as bytes
  std::uint64_t phase_hearings = 0;  // frames heard without bytes only because of when they came
  std::uint64_t version = 0;         // moves when a node becomes another: a reset, an address
  std::uint64_t surroundings = 0;    // moves when clocks, bleeds or the charger become others
  std::size_t jobs = 0;              // that nodes have yet to do: answers to give, frames to pass on

  /// Whoever has read something of repeats that it has not been told yet is told now. Empty: nobody has.
  std::function<void()> settle_readings;
  void settle() const {
    if (settle_readings) settle_readings();
  }
  /// Comes before anything changes that decides how frames go or what nodes answer.
  void changing() {
    settle();
    ++version;
  }
  /// Comes before clocks or the charger change, and nothing else.
  void surroundings_changing() { ++surroundings; }
  /// Comes before a node bleeds other cells: what it tells of them may be otherwise then.
  void bleeds_changing() {
    settle();
    ++surroundings;
  }

  /// More on its way than any chain holds: frames are made faster than they can leave, or are held back for ever.
  [[nodiscard]] bool crowded() const { return flights.in_the_air() + jobs > most_on_its_way; }
  static constexpr std::size_t most_on_its_way = 50'000;

  // Event entities, for order at equal times: links by their number, then nodes, the controller, what is around them.
  [[nodiscard]] static std::uint16_t node_entity(std::size_t node) { return static_cast<std::uint16_t>(1000 + node); }
  static constexpr std::uint16_t controller_entity = 5000;
  static constexpr std::uint16_t surroundings_entity = 6000;
};

}  // namespace hopbench
