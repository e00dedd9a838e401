#include "text/scenario_checks.h"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <map>
#include <set>

#include "base/luck.h"
#include "bus/bits.h"
#include "bus/protocol.h"
#include "line/receiver.h"
#include "text/chain_loader.h"

namespace hopbench {
namespace {

/// Why a node that sends each character on before it has heard the whole frame cannot rewrite as the bus asks; empty if
/// it can.
std::string trouble_by_character(const BusDescription& bus) {
  if (bus.forward.rewrite.empty()) return "";
  const std::size_t head = Protocol{bus}.relay_head_bytes();
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

const FieldSpec* header_field(const BusDescription& bus, const std::string& name) {
  for (const PartSpec& part : bus.parts) {
    if (part.field && !name.empty() && part.field->name == name) return &*part.field;
  }
  return nullptr;
}

Spot bus_spot(const Spot& root) { return root.in(root.has("bus") ? "bus" : "inline_bus"); }

}  // namespace

bool check_passes(const std::vector<Rehearsed>& all, const ChainDescription& chain, const Spot& root,
                  const BusDescription& bus) {
  const FieldSpec* field = header_field(bus, bus.roles.passes_left);
  if (field == nullptr) return false;
  const std::uint64_t limit = FieldCode::limit_of(*field);
  const std::uint64_t nodes = chain.nodes.size();
  const std::uint64_t most = nodes - 1;  // passed on by all but one
  const std::uint64_t stated = chain.controller.passes;
  const std::string holds =
      fmt::format("the field {} of the bus {} counts the passes that a frame has left and holds 0 to {}", field->name,
                  bus.name, limit);
  if (stated > limit) {
    root.in("controller").in("passes").say(fmt::format("{}, not {}", holds, stated));
    return true;
  }
  const std::uint64_t given = stated != 0 ? stated : nodes;
  if (std::max(given, most) <= limit) return false;
  std::string what = fmt::format(
      "{}; in this chain of {} nodes {}, so the number goes round and frames die on the way; "
      "make it {} bits wide",
      holds, nodes,
      given > limit ? fmt::format("asks are given {}", given) : fmt::format("answers need up to {}", most),
      std::bit_width(std::max(given, most)));
  if (most <= limit) {
    what += fmt::format(
        ", or write controller {{ passes: {} }}, which reaches every node (and does not come round from everyone)",
        most);
  }
  const bool any_dies = std::any_of(all.begin(), all.end(), [](const Rehearsed& each) {
    return each.how.end == Rehearsal::End::ask_used_up || each.how.end == Rehearsal::End::answer_used_up;
  });
  if (any_dies) {
    bus_spot(root).say(what);
  } else {
    bus_spot(root).warn(what + " (none that this plan asks)");
  }
  return true;
}

void check_receivers(const ChainDescription& chain, const Spot& root, const BusDescription& bus) {
  const Period period = period_of_baud(bus.line.baud);
  const auto check = [&](const ReceiverSpec& receiver, const Spot& spot) {
    if (Receiver(bus.line, receiver, period).surely_in_step(period, 0)) return;
    const std::uint32_t last = receiver.oversampling - receiver.votes;
    spot.in("receiver")
        .in("first_vote")
        .warn(fmt::format("of {} samples a bit, votes {} to {} touch the edge of the bit, and are misread even where "
                          "all clocks are exact; "
                          "first_vote can be 2 to {}",
                          receiver.oversampling, receiver.first_vote, receiver.first_vote + receiver.votes - 1, last));
  };
  std::set<std::size_t> used;
  for (const NodeSpec& node : chain.nodes) used.insert(node.kind);
  for (const std::size_t k : used) check(chain.kinds[k].receiver, root.in("kind", static_cast<int>(k)));
  check(chain.controller.receiver, root.in("controller"));
}

void check_distances(const ChainDescription& chain, const Spot& root, const BusDescription& bus) {
  const FieldSpec* field = header_field(bus, bus.roles.distance);
  if (field == nullptr) return;
  const std::uint64_t limit = FieldCode::limit_of(*field);
  const std::uint64_t farthest = chain.nodes.size() - 1;
  if (farthest > limit) {
    bus_spot(root).say(
        fmt::format("the field {} of the bus {} counts the nodes between and holds 0 to {}; {} has {} before it, so "
                    "the number goes "
                    "round; make it {} bits wide",
                    field->name, bus.name, limit, chain.nodes.back().name, farthest, std::bit_width(farthest)));
    return;
  }
  const auto means = [&](std::uint64_t value, const char* what) {
    if (value > farthest) return;
    bus_spot(root).say(fmt::format(
        "on the bus {} the distance {} means {}, and an ask to {} counts down through it; choose a value above {}",
        bus.name, value, what, chain.nodes[std::min<std::uint64_t>(value, farthest)].name, farthest));
  };
  means(bus.roles.controller_address, "the controller");
  for (const std::uint64_t value : bus.roles.broadcast) means(value, "everyone");
}

namespace {

/// Where nodes are found by distance, their addresses only say who answers.
void check_senders(const ChainDescription& chain, const std::vector<Spot>& nodes, const BusDescription& bus,
                   const FieldSpec& source) {
  std::map<std::uint64_t, std::string> taken;
  for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
    const NodeSpec& node = chain.nodes[i];
    const auto say = [&](const std::string& what) {
      nodes[i].in("address").say(fmt::format("node {} gets address {}: {}", node.name, node.address, what));
    };
    if (const std::uint64_t limit = FieldCode::limit_of(source); node.address > limit) {
      say(fmt::format("the field {} of the bus {}, in which it answers, holds 0 to {}", source.name, bus.name, limit));
    }
    if (const auto [other, first] = taken.try_emplace(node.address, node.name); !first) {
      say(fmt::format("node {} has it already", other->second));
    }
  }
}

}  // namespace

void check_addresses(const ChainDescription& chain, const std::vector<Spot>& nodes, const BusDescription& bus) {
  const FieldSpec* source = header_field(bus, bus.roles.source);
  if (bus.roles.destination.empty()) {
    if (source != nullptr) check_senders(chain, nodes, bus, *source);
    return;
  }
  const std::uint64_t largest = largest_address(&bus).value_or(0);
  const std::uint64_t largest_source = source == nullptr ? largest : FieldCode::limit_of(*source);
  const auto& mark = bus.roles.refusal_mark;
  const bool marked = mark && (mark->field == bus.roles.destination || mark->field == bus.roles.source);
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
    } else if (node.address > largest_source) {
      say(fmt::format("the field {} of the bus {}, in which it answers, holds 0 to {}", bus.roles.source, bus.name,
                      largest_source));
    } else if (marked && (node.address & mark->mask) == mark->value) {
      say(fmt::format("on the bus {} that marks a refusal (roles.refusal_mark)", bus.name));
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
