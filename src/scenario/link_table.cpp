#include "scenario/link_table.h"

namespace hopbench {

LinkTable::LinkTable(Shape shape, std::size_t nodes) : shape_(shape), nodes_(nodes) {
  const auto node = [](std::size_t i) { return static_cast<std::uint16_t>(i); };
  for (std::size_t i = 0; i < nodes; ++i) {
    links_.push_back({i == 0 ? nobody : node(i - 1), node(i), static_cast<std::uint16_t>(i + 1), false});
  }
  if (shape == Shape::ring) {
    const auto last = static_cast<std::uint16_t>(nodes + 1);
    links_.push_back({nodes == 0 ? nobody : node(nodes - 1), nobody, last, false});
    return;
  }
  for (std::size_t i = nodes; i > 0; --i) {
    links_.push_back({node(i - 1), i == 1 ? nobody : node(i - 2), static_cast<std::uint16_t>(i), true});
  }
}

std::uint16_t LinkTable::answers_on(std::size_t node) const {
  return static_cast<std::uint16_t>(shape_ == Shape::ring ? node + 1 : 2 * nodes_ - 1 - node);
}

std::uint16_t LinkTable::onward(std::uint16_t in) const {
  const Entry& came = links_[in];
  if (came.to == nobody) return nobody;
  const bool end_of_line = shape_ == Shape::line && !came.homeward && came.to + 1U == nodes_;
  return end_of_line ? nobody : static_cast<std::uint16_t>(in + 1);
}

std::uint64_t LinkTable::steps_home(std::size_t node) const { return shape_ == Shape::ring ? nodes_ - 1 - node : node; }

bool everyone_comes_round(const LinkTable& table, const BusDescription& bus) {
  return table.comes_round() && bus.forward.unclaimed == Unclaimed::returns;
}

std::vector<LinkInfo> link_infos(const ChainDescription& chain) {
  const auto name = [&](std::uint16_t node) { return node == nobody ? chain.controller.name : chain.nodes[node].name; };
  std::vector<LinkInfo> infos;
  for (const LinkTable::Entry& link : LinkTable(chain.shape, chain.nodes.size())) {
    infos.push_back({link.hop, name(link.from), name(link.to), link.homeward, Vantage::simulated});
  }
  return infos;
}

std::string link_name(const LinkInfo& link) { return (link.homeward ? "homeward into " : "into ") + link.to; }

}  // namespace hopbench
