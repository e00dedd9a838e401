#include "text/entry_checks.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <optional>
#include <set>
#include <tuple>

#include "scenario/link_table.h"
#include "text/entry_words.h"
#include "text/node_names.h"

namespace hopbench {
namespace {

using End = Rehearsal::End;

/// Whether somebody may want just this: the run shows it as it is.
bool is_wanted(const Rehearsed& each, const Protocol& protocol, const ChainDescription& chain) {
  switch (each.how.end) {
    case End::refused:
      return protocol.can_refuse() || !each.how.sets.empty();
    case End::unknown_topic:
    case End::not_passed_on:
      return true;
    case End::ask_lost:
    case End::answer_lost:
      return protocol.description().framing.kind == FramingKind::marked;  // another address, another value gets through
    case End::ask_used_up:
      return chain.controller.passes != 0;
    default:
      return false;
  }
}

/// What entries of one poll that end alike have in common besides: the node on the way where it ended, or their kind.
std::size_t alike_by(const Rehearsed& each, const ChainDescription& chain) {
  switch (each.how.end) {
    case End::ask_used_up:
    case End::answer_used_up:
    case End::not_passed_on:
    case End::taken_by_other:
    case End::taken_twice:
      return each.how.at;
    default:
      return each.entry.node < chain.nodes.size() ? chain.nodes[each.entry.node].kind : nobody;
  }
}

void tell(const Spot& spot, bool warning, const std::string& what) {
  if (warning) spot.warn(what);
  if (!warning) spot.say(what);
}

/// Telling the nearest value that there is room for is a custom with these.
bool may_saturate(Quantity quantity) {
  return quantity == Quantity::snapshot_age_ms || quantity == Quantity::serial_number;
}

/// What is wrong with the address that a poll offers: a node must not have it, or several would take it.
std::optional<std::string> bad_offer(const Rehearsed& each, const Protocol& protocol, const ChainDescription& chain) {
  const EnrolSpec& enrol = chain.controller.enrol;
  const RolesSpec& roles = protocol.description().roles;
  if (!roles.first_unenrolled || each.entry.topic != enrol.topic || each.from == "enrolment") return std::nullopt;
  for (const auto& [field, address] : each.entry.arguments) {
    if (field != enrol.address_field) continue;
    const bool broadcast = std::find(roles.broadcast.begin(), roles.broadcast.end(), address) != roles.broadcast.end();
    const char* means = broadcast                             ? "everyone"
                        : address == roles.controller_address ? "the controller"
                        : address == *roles.first_unenrolled  ? "the first node without an address"
                                                              : nullptr;
    if (means != nullptr) {
      return fmt::format("{} offers the address {}, which on the bus {} means {}", enrol.topic, address,
                         protocol.description().name, means);
    }
    if (each.entry.node == nobody) {
      return fmt::format(
          "{} offers everyone the address {}, and several nodes would take it; let enrolment offer each its own",
          enrol.topic, address);
    }
  }
  return std::nullopt;
}

}  // namespace

void check_exchanges(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain,
                     bool passes_told) {
  // By poll, what happens, why, and where or with what kind of node.
  std::map<std::tuple<std::string, End, Refusal, std::size_t>, std::vector<const Rehearsed*>> failed;
  std::set<std::pair<std::string, std::string>> misread;
  for (const Rehearsed& each : all) {
    const bool used_up = each.how.end == End::ask_used_up || each.how.end == End::answer_used_up;
    const bool told = (used_up && passes_told) || bad_offer(each, protocol, chain);  // by another check
    if (each.how.end != End::answered && !told) {
      failed[{each.from, each.how.end, each.how.reason, alike_by(each, chain)}].push_back(&each);
    }
    for (const Misread& value : each.how.misread) {
      if (!misread.insert({each.from, value.field}).second) continue;
      const std::string what = words_for(value, each, chain);
      tell(each.spot.in("topic"), may_saturate(value.quantity), what);
    }
  }
  std::map<std::pair<std::string, End>, std::size_t> told;
  for (const auto& [why, entries] : failed) {
    const Rehearsed& first = *entries.front();
    std::vector<std::uint16_t> nodes;
    for (const Rehearsed* each : entries) {
      if (each->entry.node != nobody) nodes.push_back(each->entry.node);
    }
    std::sort(nodes.begin(), nodes.end());
    // A few examples do.
    if (++told[{first.from, first.how.end}] > 3) continue;
    const std::string listed = nodes.empty() ? "everyone" : node_names(chain, nodes);
    tell(first.spot.in("topic"), is_wanted(first, protocol, chain), words_for(first, listed, protocol, chain));
  }
}

void check_orders(const std::vector<Rehearsed>& all, const Protocol& protocol, const ChainDescription& chain) {
  const bool any_bleeds = std::any_of(chain.nodes.begin(), chain.nodes.end(), [&](const NodeSpec& node) {
    return chain.kinds[node.kind].board.bleed_mohm > 0;
  });
  std::map<std::string, std::pair<const Rehearsed*, std::vector<std::uint16_t>>> cannot_bleed;
  for (const Rehearsed& each : all) {
    const PlanEntry& entry = each.entry;
    const auto topic = protocol.topic_named(entry.topic);
    if (!topic) continue;
    const TopicSpec& spec = protocol.topic_spec(*topic);
    const BusDescription& bus = protocol.description();
    if (entry.node == nobody && !spec.changes && !spec.answer.empty() && !bus.forward.broadcast_answered) {
      each.spot.in("to_everyone")
          .say(fmt::format("{} only reads, and on the bus {} nobody answers what is sent to everyone "
                           "(forward.broadcast_answered); write nodes: \"*\" to ask each",
                           spec.name, bus.name));
    }
    if (entry.node == nobody && bus.forward.broadcast_answered) {
      each.spot.in("to_everyone")
          .warn(fmt::format(
              "on the bus {} every node answers this (forward.broadcast_answered), and this controller waits "
              "for none of the answers: they run into the exchanges that follow, and may pass for their "
              "answers; write nodes: \"*\" to ask each",
              bus.name));
    }
    if (const auto wrong = bad_offer(each, protocol, chain)) {
      each.spot.in(each.entry.node == nobody ? "to_everyone" : "topic").say(*wrong);
    }
    const auto mask = each.how.sets.find(Quantity::bleed_mask);
    if (each.from == "balancing") {
      if (chain.kinds[chain.nodes[entry.node].kind].board.bleed_mohm == 0) {
        cannot_bleed[each.from].first = &each;
        cannot_bleed[each.from].second.push_back(entry.node);
      }
    } else if (entry.node == nobody && mask != each.how.sets.end() && mask->second != 0 && !any_bleeds) {
      cannot_bleed[each.from].first = &each;
    }
  }
  for (auto& [from, found] : cannot_bleed) {
    auto& [each, nodes] = found;
    std::sort(nodes.begin(), nodes.end());
    const Spot spot = from == "balancing" ? each->spot : each->spot.in("topic");
    if (nodes.empty()) {
      spot.warn("no kind of node can bleed (bleed { resistor: ... }), so this order does nothing");
      continue;
    }
    spot.warn(
        fmt::format("{} cannot bleed (kind {} has no bleed {{ resistor: ... }}), so orders to bleed do nothing there",
                    node_names(chain, nodes), chain.kinds[chain.nodes[nodes.front()].kind].name));
  }
}

void check_offers(const ChainDescription& chain, const Spot& root) {
  const EnrolSpec& enrol = chain.controller.enrol;
  if (enrol.at_start) return;
  std::set<std::size_t> told;
  for (const PlanEntry& entry : chain.controller.plan) {
    if (entry.node == nobody) continue;
    const NodeSpec& node = chain.nodes[entry.node];
    if (!chain.kinds[node.kind].enrols || !told.insert(node.kind).second) continue;
    const Spot spot = root.in("kind", static_cast<int>(node.kind)).in("enrols");
    if (enrol.again_after == 0) {
      spot.warn(
          "nodes of this kind have no address until somebody offers one, and this controller never does: write "
          "enrolment { at_start: true } there, unless another controller is to do it");
    } else {
      spot.warn(fmt::format(
          "nodes of this kind have no address before {} exchanges with them have failed (enrolment.again_after); "
          "at_start: true offers them one before the first",
          enrol.again_after));
    }
  }
}

}  // namespace hopbench
