// The nodes of the chain as the entries of `nodes` list them, and the entries taken apart.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "scenario.pb.h"
#include "scenario/description.h"

namespace hopbench {

struct ListedNode {
  int entry = 0;  // of `nodes`
  std::string name;
  std::uint64_t address = 0;
};

/// In chain order. No more than max_nodes: what an entry has beyond them is left out.
std::vector<ListedNode> listed_nodes(const text::Scenario& scenario);

/// Shape, names of nodes and of the controller: what pick_links() and pick_nodes() need.
ChainDescription outline_of_chain(const text::Scenario& scenario);

/// Entries for which `apart` is true become one entry for each of their nodes. Every entry states its address
/// afterwards, so that it keeps it whatever goes.
void take_apart(text::Scenario& scenario, const std::function<bool(int entry)>& apart);

/// Ranges of nodes become the names that they mean. What names no nodes stays.
void spell_out(google::protobuf::RepeatedPtrField<std::string>& names, const std::vector<ListedNode>& nodes);

}  // namespace hopbench
