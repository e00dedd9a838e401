// Which link leads from where to where. The one place that knows what a ring and a line are: everybody else asks here.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "bus/description.h"
#include "scenario/description.h"
#include "seen/observation.h"

namespace hopbench {

/// No node: the controller as the end of a link, everyone as a destination, nowhere as a link.
inline constexpr std::uint16_t nobody = 0xffff;

/// Links are numbered in the order in which a frame travels: outward from the controller first.
class LinkTable {
 public:
  struct Entry {
    std::uint16_t from = nobody;  // node, nobody the controller
    std::uint16_t to = nobody;
    std::uint16_t hop = 0;  // from 1
    bool homeward = false;  // line only: towards the controller
  };

  LinkTable(Shape shape, std::size_t nodes);

  [[nodiscard]] std::size_t size() const { return links_.size(); }
  [[nodiscard]] std::size_t nodes() const { return nodes_; }
  [[nodiscard]] const Entry& operator[](std::size_t link) const { return links_[link]; }
  [[nodiscard]] auto begin() const { return links_.begin(); }
  [[nodiscard]] auto end() const { return links_.end(); }

  /// What the controller sends on, and over which everything comes home to it.
  [[nodiscard]] std::uint16_t first() const { return 0; }
  [[nodiscard]] std::uint16_t home() const { return static_cast<std::uint16_t>(links_.size() - 1); }
  /// What the controller sends comes back to it if nobody takes it off.
  [[nodiscard]] bool comes_round() const { return shape_ == Shape::ring; }
  /// The node that hears the controller's frames last.
  [[nodiscard]] std::uint16_t last_node() const { return static_cast<std::uint16_t>(nodes_ - 1); }

  /// Link on which a node answers.
  [[nodiscard]] std::uint16_t answers_on(std::size_t node) const;
  /// Link on which a node sends on what came in over `in`; nobody if the chain ends there.
  [[nodiscard]] std::uint16_t onward(std::uint16_t in) const;
  /// Nodes that pass on an ask to this node, and its answer.
  [[nodiscard]] std::uint64_t steps_to(std::size_t node) const { return node; }
  [[nodiscard]] std::uint64_t steps_home(std::size_t node) const;
  /// Nodes that pass on what travels farthest.
  [[nodiscard]] std::uint64_t most_steps() const { return nodes_; }

 private:
  Shape shape_;
  std::size_t nodes_;
  std::vector<Entry> links_;
};

/// What the controller asks of everyone comes back to it, and so tells that it has been everywhere.
bool everyone_comes_round(const LinkTable& table, const BusDescription& bus);
/// The links of a chain as a listener is told of them.
std::vector<LinkInfo> link_infos(const ChainDescription& chain);
/// Name of a link for its luck: the station at its far end, and which way.
std::string link_name(const LinkInfo& link);

}  // namespace hopbench
