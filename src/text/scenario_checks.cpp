#include "text/scenario_checks.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/luck.h"
#include "bus/protocol.h"
#include "text/chain_loader.h"

namespace hopbench {
namespace {

/// Why a node that sends each character on before it has heard the whole frame cannot rewrite as the bus asks; empty if
/// it can.
std::string trouble_by_character(const BusDescription& bus) {
  if (bus.forward.rewrite.empty()) return "";
  const std::size_t head = Protocol{bus}.head_bytes();
  if (head == 0) {
    return fmt::format("by_character cannot be used on the bus {}: it rewrites {}, which only the whole frame shows",
                       bus.name, bus.forward.rewrite.front().field);
  }
  if (bus.forward.repair != CheckRepair::if_good) return "";
  // The header check is judged before the head is passed on; any other check goes out before it is known to be good.
  for (const PartSpec& part : bus.parts) {
    if (!part.check || part.check->name == bus.framing.header_check) continue;
    for (const RewriteSpec& rewrite : bus.forward.rewrite) {
      const auto& covers = part.check->covers;
      if (!covers.empty() && std::find(covers.begin(), covers.end(), rewrite.field) == covers.end()) continue;
      return fmt::format(
          "by_character cannot be used on the bus {}: check {} covers {}, which is rewritten, and repair: IF_GOOD "
          "needs "
          "the whole frame; a bus with repair: BY_DIFFERENCE can be passed on so",
          bus.name, part.check->name, rewrite.field);
    }
  }
  return "";
}

}  // namespace

void check_addresses(const ChainDescription& chain, const std::vector<Spot>& nodes, const BusDescription& bus) {
  if (bus.roles.destination.empty()) return;
  const std::uint64_t largest = largest_address(&bus).value_or(0);
  std::map<std::uint64_t, std::string> taken;
  for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
    const NodeSpec& node = chain.nodes[i];
    const Spot spot = nodes[i].in("address");
    const auto say = [&](const std::string& what) {
      spot.say(fmt::format("node {} gets address {}: {}", node.name, node.address, what));
    };
    const auto& broadcast = bus.roles.broadcast;
    if (node.address > largest) {
      say(fmt::format("the field {} of the bus {} holds 0 to {}", bus.roles.destination, bus.name, largest));
    } else if (std::find(broadcast.begin(), broadcast.end(), node.address) != broadcast.end()) {
      say(fmt::format("on the bus {} that means everyone", bus.name));
    } else if (bus.roles.first_unenrolled == node.address) {
      say(fmt::format("on the bus {} that means the first node without an address", bus.name));
    } else if (node.address == bus.roles.controller_address) {
      say(fmt::format("on the bus {} that is the controller's", bus.name));
    }
    if (const auto [other, first] = taken.try_emplace(node.address, node.name); !first) {
      say(fmt::format("node {} has it already", other->second));
    }
  }
}

void check_forwarding(const ChainDescription& chain, const Spot& root, const BusDescription& bus) {
  const std::string by_character = trouble_by_character(bus);
  for (std::size_t k = 0; k < chain.kinds.size(); ++k) {
    const Spot spot = root.in("kind", static_cast<int>(k)).in("forwarding");
    const Forwarding way = chain.kinds[k].forwarding.kind;
    if (way == Forwarding::by_character && !by_character.empty()) spot.say(by_character);
    if (way != Forwarding::electrical) continue;
    const bool is_last = !chain.nodes.empty() && chain.nodes.back().kind == k;
    if (!bus.forward.rewrite.empty()) {
      spot.say(fmt::format("electrical forwarding changes nothing, but the bus {} wants {} rewritten at each node",
                           bus.name, bus.forward.rewrite.front().field));
    } else if (is_last && chain.shape == Shape::ring && bus.forward.unclaimed == Unclaimed::last_node_stops_it) {
      spot.say(fmt::format(
          "on the bus {} the last node stops what nobody claimed; {} is the last node and passes on every edge",
          bus.name, chain.nodes.back().name));
    }
  }
}

std::pair<std::string_view, std::string_view> same_hash(const std::vector<std::string_view>& names,
                                                        const std::function<std::uint64_t(std::string_view)>& hash) {
  std::map<std::uint64_t, std::string_view> seen;
  for (const std::string_view name : names) {
    const auto [other, first] = seen.try_emplace(hash(name), name);
    if (!first && other->second != name) return {other->second, name};
  }
  return {};
}

void check_name_hashes(const ChainDescription& chain, const Spot& root) {
  std::vector<std::string_view> names{chain.controller.name};
  for (const NodeSpec& node : chain.nodes) names.push_back(node.name);
  for (const FaultSpec& fault : chain.faults) names.push_back(fault.name);
  for (const PlanEntry& entry : chain.controller.plan) names.push_back(entry.name);
  const auto [one, other] = same_hash(names, [](std::string_view name) { return name_hash(name); });
  if (!one.empty()) {
    root.say(fmt::format("the names {} and {} happen to have the same hash, so they would share their luck; rename one",
                         one, other));
  }
}

}  // namespace hopbench
