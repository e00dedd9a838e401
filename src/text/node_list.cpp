#include "text/node_list.h"

#include <algorithm>
#include <limits>

#include "text/chain_loader.h"

namespace hopbench {

namespace {

std::uint32_t count_of(const text::Nodes& entry) { return entry.has_count() ? entry.count() : 1; }

std::string name_of(const text::Nodes& entry, std::uint32_t n) {
  return entry.has_count() ? entry.name() + std::to_string(n) : entry.name();
}

/// The address behind `address`, as nodes without one of their own get it.
std::uint64_t beyond(std::uint64_t address, std::uint64_t nodes) {
  constexpr std::uint64_t most = std::numeric_limits<std::uint64_t>::max();
  return most - address < nodes ? most : address + nodes;
}

}  // namespace

std::vector<ListedNode> listed_nodes(const text::Scenario& scenario) {
  std::vector<ListedNode> listed;
  std::uint64_t address = 1;
  for (int i = 0; i < scenario.nodes_size(); ++i) {
    const text::Nodes& entry = scenario.nodes(i);
    if (entry.has_address()) address = entry.address();
    for (std::uint32_t n = 1; n <= count_of(entry) && listed.size() < max_nodes; ++n)
      listed.push_back({i, name_of(entry, n), beyond(address, n - 1)});
    address = beyond(address, count_of(entry));
  }
  return listed;
}

ChainDescription outline_of_chain(const text::Scenario& scenario) {
  ChainDescription chain;
  chain.shape = scenario.shape() == text::Scenario::LINE ? Shape::line : Shape::ring;
  if (!scenario.controller().name().empty()) chain.controller.name = scenario.controller().name();
  for (const ListedNode& listed : listed_nodes(scenario)) chain.nodes.emplace_back().name = listed.name;
  return chain;
}

void take_apart(text::Scenario& scenario, const std::function<bool(int entry)>& apart) {
  google::protobuf::RepeatedPtrField<text::Nodes> entries;
  std::uint64_t address = 1;
  for (int i = 0; i < scenario.nodes_size(); ++i) {
    const text::Nodes& entry = scenario.nodes(i);
    if (entry.has_address()) address = entry.address();
    // A count that no chain can have stays, and is told when the scenario is loaded.
    const bool whole = !apart(i) || count_of(entry) == 0 || count_of(entry) > max_nodes;
    for (std::uint32_t n = 1; n <= (whole ? 1 : count_of(entry)); ++n) {
      text::Nodes& one = *entries.Add();
      one = entry;
      one.set_address(beyond(address, n - 1));
      if (whole) continue;
      one.clear_count();
      one.set_name(name_of(entry, n));
    }
    address = beyond(address, count_of(entry));
  }
  *scenario.mutable_nodes() = entries;
}

void spell_out(google::protobuf::RepeatedPtrField<std::string>& names, const std::vector<ListedNode>& nodes) {
  const auto place = [&](std::string_view name) {
    return std::find_if(nodes.begin(), nodes.end(), [&](const ListedNode& node) { return node.name == name; });
  };
  google::protobuf::RepeatedPtrField<std::string> spelled;
  for (const std::string& name : names) {
    const auto dots = name.find("..");
    const auto from = dots == std::string::npos ? nodes.end() : place(std::string_view(name).substr(0, dots));
    const auto to = dots == std::string::npos ? nodes.end() : place(std::string_view(name).substr(dots + 2));
    if (from == nodes.end() || to == nodes.end() || to < from || place(name) != nodes.end()) {
      spelled.Add()->assign(name);
      continue;
    }
    for (auto node = from; node <= to; ++node) spelled.Add()->assign(node->name);
  }
  names = spelled;
}

}  // namespace hopbench
