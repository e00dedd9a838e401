// Nodes, hops and faults from a scenario's message. Inner part of src/text.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bus/description.h"
#include "scenario.pb.h"
#include "scenario/description.h"
#include "text/outline.h"

namespace hopbench {

inline constexpr std::size_t max_nodes = 250;
/// Stands for all nodes in the names of plan entries.
inline constexpr std::string_view everyone = "everyone";

/// Nodes of the chain, and for each where in the text it comes from.
struct LoadedNodes {
  std::vector<NodeSpec> nodes;
  std::vector<Spot> spots;
};
LoadedNodes nodes_from(const text::Scenario& scenario, const Spot& spot, const std::vector<KindSpec>& kinds,
                       const BusDescription* bus);

/// Nodes that patterns (names, "a3..a9", "*") pick, each once, in chain order.
std::vector<std::uint16_t> pick_nodes(const google::protobuf::RepeatedPtrField<std::string>& patterns,
                                      std::string_view field, const Spot& spot, const ChainDescription& chain);

/// Links into the stations that patterns (names, "a3..a9", "*") pick, each once. Needs the chain's shape, nodes and
/// controller name.
std::vector<std::uint16_t> pick_links(const google::protobuf::RepeatedPtrField<std::string>& patterns,
                                      std::optional<bool> homeward, const Spot& spot, const ChainDescription& chain);

/// Largest address that the bus has room for; none if the bus is not known or has no addresses.
std::optional<std::uint64_t> largest_address(const BusDescription* bus);

/// Line conditions of all links. Needs the chain's shape, nodes and controller name.
std::vector<LinkSpec> links_from(const text::Scenario& scenario, const Spot& spot, const ChainDescription& chain);

FaultSpec fault_from(const text::Fault& fault, const Spot& spot, const ChainDescription& chain,
                     const BusDescription* bus);

}  // namespace hopbench
