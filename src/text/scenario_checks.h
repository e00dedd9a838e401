// What fits piece by piece and still does not fit together. Inner part of src/text.
#pragma once

#include <cstdint>
#include <functional>
#include <string_view>
#include <vector>

#include "bus/description.h"
#include "scenario/description.h"
#include "text/outline.h"
#include "text/plan_rehearsal.h"

namespace hopbench {

/// Addresses that two nodes share, that mean something else, or that the bus has no room for.
void check_addresses(const ChainDescription& chain, const std::vector<Spot>& nodes, const BusDescription& bus);

/// Passes left for which the bus has no room. Returns whether it told of any. `all`: what the controller asks; `root`:
/// the scenario's spot.
bool check_passes(const std::vector<Rehearsed>& all, const ChainDescription& chain, const Spot& root,
                  const BusDescription& bus);

/// Receivers whose votes lie on the edge of a bit.
void check_receivers(const ChainDescription& chain, const Spot& root, const BusDescription& bus);

/// Distances for which it has no room.
void check_distances(const ChainDescription& chain, const Spot& root, const BusDescription& bus);

/// Ways of forwarding that cannot do what the bus asks of a forwarding node. `root`: the scenario's spot.
void check_forwarding(const ChainDescription& chain, const Spot& root, const BusDescription& bus);

/// Names are told apart by a 64-bit hash wherever chance is drawn; two of the same hash would share their luck.
/// Returns the first two different names with the same hash; empty ones if there are none.
std::pair<std::string_view, std::string_view> same_hash(const std::vector<std::string_view>& names,
                                                        const std::function<std::uint64_t(std::string_view)>& hash);
void check_name_hashes(const ChainDescription& chain, const Spot& root);

}  // namespace hopbench
