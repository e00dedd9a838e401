// Small chains for tests: a ring or a line of equal nodes, one poll for each, and the verbs to run them.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "bus/description.h"
#include "chain/chain.h"
#include "scenario/description.h"
#include "support/collector.h"

namespace hopbench {

/// A scenario that a test may still change.
struct SmallChain {
  BusDescription bus;
  ChainDescription chain;
  std::uint64_t seed = 1;
  Way way = Way::events;

  KindSpec& kind() { return chain.kinds.front(); }
  ControllerSpec& controller() { return chain.controller; }
  FaultSpec& fault(FaultClass kind, const std::string& name = "fault");
  /// Replaces the plan.
  void poll_only(std::uint16_t node, const std::string& topic,
                 std::vector<std::pair<std::string, std::uint64_t>> arguments = {});

  /// The records of the first `exchanges` exchanges (and of what else was begun by then).
  [[nodiscard]] Collector run(std::uint64_t exchanges) const;
};

/// n nodes "n1".. with addresses 1.., all of one kind; the plan asks each for `topic`. bench-frame unless said
/// otherwise; exactly 10 us a bit, so that all instants are whole numbers; time-out 100 ms, exchanges 400 ms apart.
SmallChain small_chain(Shape shape, std::size_t nodes, const std::string& topic = "nameplate");
SmallChain modbus_chain(std::size_t nodes);

/// Name of the plan entry of a record.
const std::string& entry_name(const Collector& kept, const KeptExchange& exchange);
/// The record of the exchange with this number.
const KeptExchange& exchange_number(const Collector& kept, std::uint64_t number);
/// The first truth of the exchange's try.
AttemptTruth why(const KeptExchange& exchange, std::size_t attempt = 0);
/// describe() without what only the exchange before it decides.
std::string describe_alone(KeptExchange exchange);

}  // namespace hopbench
