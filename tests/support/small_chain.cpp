#include "support/small_chain.h"

#include <algorithm>

#include "scenario/link_table.h"
#include "support/buses.h"
#include "support/catch.h"

namespace hopbench {

FaultSpec& SmallChain::fault(FaultClass fault_kind, const std::string& name) {
  FaultSpec spec;
  spec.kind = fault_kind;
  spec.name = name;
  chain.faults.push_back(spec);
  return chain.faults.back();
}

void SmallChain::poll_only(std::uint16_t node, const std::string& topic,
                           std::vector<std::pair<std::string, std::uint64_t>> arguments) {
  PlanEntry entry;
  entry.node = node;
  entry.topic = topic;
  entry.arguments = std::move(arguments);
  entry.name = topic + "/" + (node < chain.nodes.size() ? chain.nodes[node].name : "everyone");
  chain.controller.plan = {entry};
}

Collector SmallChain::run(std::uint64_t exchanges) const {
  REQUIRE(Protocol::faults_of(bus).empty());
  const Protocol protocol(bus);
  Collector kept;
  Chain world(protocol, chain, seed, way, Seat::simulated, kept);
  REQUIRE(world.run_exchanges(exchanges));
  world.finish({});
  return kept;
}

SmallChain small_chain(Shape shape, std::size_t nodes, const std::string& topic) {
  SmallChain made;
  made.bus = buses::bench_frame();
  made.bus.line.baud = 100'000;
  made.chain.name = "small";
  made.chain.shape = shape;
  KindSpec kind;
  kind.name = "plain";
  kind.cells = 4;
  made.chain.kinds = {kind};
  for (std::size_t i = 0; i < nodes; ++i) {
    NodeSpec node;
    node.name = "n" + std::to_string(i + 1);
    node.address = i + 1;
    made.chain.nodes.push_back(node);
    PlanEntry entry;
    entry.node = static_cast<std::uint16_t>(i);
    entry.name = "poll/" + node.name;
    entry.topic = topic;
    if (topic == "readings") entry.arguments = {{"first", 0}, {"count", kind.cells}};
    made.chain.controller.plan.push_back(entry);
  }
  made.chain.links.resize(LinkTable(shape, nodes).size());
  made.chain.controller.time_out = 100 * millisecond;
  made.chain.controller.pace = 400 * millisecond;
  return made;
}

SmallChain modbus_chain(std::size_t nodes) {
  SmallChain made = small_chain(Shape::ring, nodes, "read_holding");
  made.bus = buses::modbus_rtu();
  made.bus.line.baud = 100'000;
  for (PlanEntry& entry : made.chain.controller.plan) entry.arguments = {{"first", 0}, {"count", 4}};
  return made;
}

const std::string& entry_name(const Collector& kept, const KeptExchange& exchange) {
  return kept.info.entries.at(exchange.seen.entry).name;
}

const KeptExchange& exchange_number(const Collector& kept, std::uint64_t number) {
  const auto found = std::find_if(kept.exchanges.begin(), kept.exchanges.end(),
                                  [&](const KeptExchange& each) { return each.seen.number == number; });
  REQUIRE(found != kept.exchanges.end());
  return *found;
}

AttemptTruth why(const KeptExchange& exchange, std::size_t attempt) { return exchange.attempt_truths.at(attempt); }

std::string describe_alone(KeptExchange exchange) {
  exchange.seen.since_last = -1;
  return describe(exchange);
}

}  // namespace hopbench
