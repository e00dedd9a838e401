#include "coexist/chain_maker.h"

#include <algorithm>
#include <iterator>
#include <utility>

#include "scenario/asked.h"
#include "scenario/link_table.h"
#include "scenario/rehearsal.h"
#include "scenario/without.h"

namespace hopbench {
namespace {

/// "cells" of "cells/n7": how text/ names the entries of a poll.
std::string poll_of(const PlanEntry& entry) { return entry.name.substr(0, entry.name.find('/')); }

/// Orders before the plan are given once.
constexpr std::uint64_t once = std::uint64_t{1} << 40U;

ChainDescription still(const ChainDescription& like) {
  constexpr Mechanism kept[] = {Mechanism::clock, Mechanism::measurement, Mechanism::room, Mechanism::wake_up};
  ChainDescription chain = with_only(like, kept);
  chain.pack = {};
  for (KindSpec& kind : chain.kinds) kind.levels.swing_uv = 0;
  chain.controller.balancing.every = 0;
  return chain;
}

}  // namespace

ChainMaker::ChainMaker(const Protocol& protocol, const ChainDescription& like, std::vector<std::size_t> kinds)
    : protocol_(&protocol), like_(like) {
  like_.kinds.clear();
  for (const std::size_t kind : kinds) like_.kinds.push_back(like.kinds[kind]);
  asks_.resize(kinds.size());
  for (const PlanEntry& entry : like.controller.plan) {
    const std::string poll = poll_of(entry);
    if (std::find(polls_.begin(), polls_.end(), poll) == polls_.end()) polls_.push_back(poll);
    if (entry.node == nobody) {
      to_everyone_.push_back(entry);
      continue;
    }
    const auto kind = std::find(kinds.begin(), kinds.end(), like.nodes[entry.node].kind);
    if (kind == kinds.end()) continue;
    auto& asks = asks_[static_cast<std::size_t>(kind - kinds.begin())];
    const auto same = [&](const Ask& ask) { return ask.poll == poll; };
    if (std::none_of(asks.begin(), asks.end(), same)) asks.push_back({poll, entry});
  }
  if (asks_[new_kind].empty()) {
    for (const PlanEntry& entry : like.controller.plan) {
      if (entry.node == nobody || like.kinds[like.nodes[entry.node].kind].cells != like_.kinds[new_kind].cells)
        continue;
      const std::string poll = poll_of(entry);
      auto& asks = asks_[new_kind];
      const auto same = [&](const Ask& ask) { return ask.poll == poll; };
      if (std::none_of(asks.begin(), asks.end(), same)) asks.push_back({poll, entry});
      const auto kind = std::find(kinds.begin(), kinds.end(), like.nodes[entry.node].kind);
      if (kind != kinds.end()) asked_as_ = static_cast<std::uint16_t>(kind - kinds.begin());
    }
  }
  constexpr std::uint64_t last = 0xffff;
  if (protocol.description().roles.destination.empty()) addresses_ = last;
  for (std::uint64_t address = 1; addresses_ < last && address <= last; ++address) {
    addresses_ += protocol.may_be_an_address(address) ? 1 : 0;
  }
  like_.nodes.clear();
  like_.faults.clear();
  like_.controller.plan.clear();
  like_.start = {};
  still_ = still(like_);
  if (!like.links.empty()) {
    line_ = like_.links.front();
    still_line_ = still_.links.front();
  }
  like_.links.clear();
  still_.links.clear();
}

std::vector<PlanEntry> ChainMaker::plan_of(const ChainDescription& chain,
                                           const std::vector<std::uint16_t>& asked_as) const {
  std::vector<PlanEntry> plan;
  for (const std::string& poll : polls_) {
    for (std::size_t node = 0; node < chain.nodes.size(); ++node) {
      for (const Ask& ask : asks_[asked_as[node]]) {
        if (ask.poll != poll) continue;
        PlanEntry entry = ask.entry;
        entry.node = static_cast<std::uint16_t>(node);
        entry.name = poll + "/" + chain.nodes[node].name;
        plan.push_back(std::move(entry));
      }
    }
    for (const PlanEntry& entry : to_everyone_) {
      if (poll_of(entry) == poll) plan.push_back(entry);
    }
  }
  return plan;
}

ChainDescription ChainMaker::of(const ChainDescription& like, const KindOrder& order) const {
  ChainDescription chain = like;
  std::uint64_t news = 0;
  std::uint64_t olds = 0;
  std::uint64_t address = 0;
  for (const std::uint16_t kind : order) {
    NodeSpec node;
    const bool is_new = kind == new_kind;
    node.name = (is_new ? "new" : "old") + std::to_string(is_new ? ++news : ++olds);
    node.kind = kind;
    if (!is_new) {
      const bool by_distance = protocol_->description().roles.destination.empty();
      do ++address;
      while (!by_distance && !protocol_->may_be_an_address(address) && address < 0xffff);
      node.address = address;
    }
    chain.nodes.push_back(std::move(node));
  }
  // Above all that old nodes have in any chain of this length; with few addresses right behind them.
  const std::uint64_t above = std::max<std::uint64_t>(64, order.size()) + 1;
  if (!renumber_new(chain, above)) (void)renumber_new(chain, address + 1);
  chain.controller.plan = plan_of(chain, order);
  return chain;
}

ChainDescription ChainMaker::make(const KindOrder& order) const {
  ChainDescription chain = of(like_, order);
  chain.links.assign(LinkTable(chain.shape, order.size()).size(), line_);
  return chain;
}

ChainDescription ChainMaker::make_still(const KindOrder& order) const {
  ChainDescription chain = of(still_, order);
  chain.links.assign(LinkTable(chain.shape, order.size()).size(), still_line_);
  for (PlanEntry& entry : chain.controller.plan) entry.every = 1;
  return chain;
}

std::vector<PlanEntry> ChainMaker::asked_like(const ChainDescription& chain, std::uint16_t kind) const {
  auto plan = plan_of(chain, std::vector<std::uint16_t>(chain.nodes.size(), kind));
  for (PlanEntry& entry : plan) entry.every = 1;
  return plan;
}

bool ChainMaker::renumber_new(ChainDescription& chain, std::uint64_t first) const {
  const bool by_distance = protocol_->description().roles.destination.empty();
  std::uint64_t address = first;
  for (NodeSpec& node : chain.nodes) {
    if (node.kind != new_kind) continue;
    while (!by_distance && !protocol_->may_be_an_address(address)) {
      if (++address > 0xffff) return false;
    }
    node.address = address++;
  }
  return true;
}

std::optional<std::uint64_t> ChainMaker::nobodys_address(const ChainDescription& chain) const {
  for (std::uint64_t address = 0xffff; address > 0; --address) {
    const auto has = [&](const NodeSpec& node) { return node.address == address; };
    if (protocol_->may_be_an_address(address) && std::none_of(chain.nodes.begin(), chain.nodes.end(), has)) {
      return address;
    }
  }
  return std::nullopt;
}

std::uint32_t ChainMaker::bleed_all(ChainDescription& chain) const {
  const BalancingSpec& balancing = chain.controller.balancing;
  std::vector<PlanEntry> orders;
  std::uint32_t cells = 0;
  for (std::size_t i = 0; i < chain.nodes.size(); ++i) {
    const KindSpec& kind = chain.kinds[chain.nodes[i].kind];
    if (kind.board.bleed_mohm <= 0) continue;
    PlanEntry order;
    order.name = "all-cells/" + chain.nodes[i].name;
    order.node = static_cast<std::uint16_t>(i);
    order.topic = balancing.topic;
    order.arguments = {{balancing.field, (std::uint64_t{1} << kind.cells) - 1}};
    order.every = once;
    if (!protocol_->topic_named(order.topic)) continue;
    const Rehearsal rehearsal = Rehearser(*protocol_, chain).rehearse(order, Telling::middle, 1, false);
    if (rehearsal.end != Rehearsal::End::answered || !rehearsal.sets.contains(Quantity::bleed_mask)) continue;
    orders.push_back(std::move(order));
    cells += kind.cells;
  }
  auto& plan = chain.controller.plan;
  plan.insert(plan.begin(), orders.begin(), orders.end());
  return cells;
}

bool ChainMaker::says_to_everyone() const {
  return !to_everyone_.empty() || protocol_->topic_named(like_.controller.balancing.topic).has_value();
}

KindOrder without_new(const KindOrder& order) {
  KindOrder old;
  std::copy_if(order.begin(), order.end(), std::back_inserter(old),
               [](std::uint16_t kind) { return kind != new_kind; });
  return old;
}

bool has_new(const KindOrder& order) { return std::find(order.begin(), order.end(), new_kind) != order.end(); }

bool has_old(const KindOrder& order) {
  return std::any_of(order.begin(), order.end(), [](std::uint16_t kind) { return kind != new_kind; });
}

std::string in_words(const ChainDescription& chain) {
  std::string words;
  for (std::size_t i = 0; i < chain.nodes.size();) {
    std::size_t end = i + 1;
    while (end < chain.nodes.size() && chain.nodes[end].kind == chain.nodes[i].kind) ++end;
    words += (words.empty() ? "" : ", ") + chain.nodes[i].name;
    if (end > i + 1) words += (end > i + 2 ? " to " : " and ") + chain.nodes[end - 1].name;
    words += " (" + chain.kinds[chain.nodes[i].kind].name + ")";
    i = end;
  }
  return words;
}

}  // namespace hopbench
