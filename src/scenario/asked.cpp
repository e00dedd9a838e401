#include "scenario/asked.h"

namespace hopbench {

std::vector<PlanEntry> asked_entries(const ChainDescription& chain) {
  const ControllerSpec& controller = chain.controller;
  std::vector<PlanEntry> entries = controller.plan;
  const auto add = [&](const char* what, std::size_t node, const std::string& topic, const std::string& field,
                       std::uint64_t value) {
    PlanEntry entry;
    entry.name = what + chain.nodes[node].name;
    entry.node = static_cast<std::uint16_t>(node);
    entry.topic = topic;
    entry.arguments = {{field, value}};
    entries.push_back(entry);
  };
  for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
    if (!chain.kinds[chain.nodes[i].kind].enrols) continue;
    add(offer_name, i, controller.enrol.topic, controller.enrol.address_field, chain.nodes[i].address);
  }
  for (std::size_t i = 0; controller.balancing.every > 0 && i < chain.nodes.size(); ++i) {
    add(order_name, i, controller.balancing.topic, controller.balancing.field, 0);
  }
  return entries;
}

}  // namespace hopbench
