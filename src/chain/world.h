// What all parts of a chain share. Owned by Chain; the parts hold a reference.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "base/luck.h"
#include "bus/protocol.h"
#include "engine/event_queue.h"
#include "chain/chain.h"
#include "scenario/description.h"
#include "chain/flights.h"
#include "chain/injector.h"
#include "chain/parcel.h"
#include "chain/surroundings.h"
#include "chain/tap.h"
#include "chain/trace.h"

namespace hopbench {

class Link;
class Node;
class Processor;

/// One answer as its node made it.
struct AnswerRecord {
  std::uint32_t answers = 0;  // since it was cleared
  std::uint16_t node = nobody;
  Frame ask;  // as the node heard it
  Frame sent;
  Nanos asked_at = 0;
  Nanos filled_at = 0;
  Nanos taken_at = never;
  std::uint64_t frames_heard = 0;  // its counter when it filled the answer
};

/// Event entities, for order at equal times: links first, then nodes, then the controller.
struct World {
  World(const Protocol& the_protocol, const ChainDescription& the_chain, std::uint64_t seed, Way the_way,
        Sink& the_sink);
  ~World();

  const Protocol& protocol;
  const ChainDescription& chain;
  Luck luck;
  Way way;
  Tap tap;
  Sink& sink;  // the tap
  EventQueue queue;
  Traces traces;
  Injector injector;
  Flights flights;
  std::vector<std::unique_ptr<Link>> links;
  std::vector<std::unique_ptr<Node>> nodes;
  std::optional<Surroundings> surroundings;  // from the start of the run on
  std::uint64_t byte_hearings = 0;           // frames that went through a receiver as bytes
  std::uint64_t version = 0;                 // moves when a node becomes another: a reset, an address, other bleeds
  std::function<void()> settle_readings;     // what the controller has read of repeats, it has to be told now
  AnswerRecord* answer_record = nullptr;     // what a node answered is kept here
  std::size_t jobs = 0;                      // that nodes have yet to do: answers to give, frames to pass on

  /// More on its way than any chain holds: frames are made faster than they can leave, or are held back for ever.
  [[nodiscard]] bool crowded() const { return flights.in_the_air() + jobs > most_on_its_way; }
  static constexpr std::size_t most_on_its_way = 50'000;

  /// Comes before anything changes that decides how frames go or what nodes answer.
  void changing();
  /// The controller learns what it has read of repeats so far.
  void settle() {
    if (settle_readings) settle_readings();
  }

  [[nodiscard]] std::size_t node_count() const { return chain.nodes.size(); }
  [[nodiscard]] bool ring() const { return chain.shape == Shape::ring; }
  [[nodiscard]] std::uint16_t node_entity(std::size_t node) const { return static_cast<std::uint16_t>(1000 + node); }
  [[nodiscard]] std::uint16_t controller_entity() const { return 5000; }
  [[nodiscard]] std::uint16_t surroundings_entity() const { return 6000; }

  /// Link on which node i answers (and forwards answers): ring, onward; line, homeward.
  [[nodiscard]] std::uint16_t answer_link(std::size_t node) const;
  /// Link on which node i passes on what came in over `in`; `nobody` if the chain ends there.
  [[nodiscard]] std::uint16_t onward_link(std::size_t node, std::uint16_t in) const;
  /// Link over which everything comes home.
  [[nodiscard]] std::uint16_t home_link() const { return static_cast<std::uint16_t>(links.size() - 1); }
  /// Forwarding steps for an ask to reach node i, and for its answer to come home.
  [[nodiscard]] std::uint64_t steps_to(std::size_t node) const { return node; }
  [[nodiscard]] std::uint64_t steps_home(std::size_t node) const { return ring() ? node_count() - 1 - node : node; }
};

/// The frame as anybody who hears it well will read it: sizes and counts that follow from its payload are set.
Frame as_heard(const Protocol& protocol, const Frame& frame);

/// Name of a link for its luck: the station at its far end, and which way.
std::string link_name(const LinkInfo& link);
/// The links of a chain, in order.
std::vector<LinkInfo> links_of(const ChainDescription& chain);

}  // namespace hopbench
