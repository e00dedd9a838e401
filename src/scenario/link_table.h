// Which link leads from where to where: what a ring and a line are.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "scenario/description.h"

namespace hopbench {

/// No node: the controller as the end of a link, everyone as a destination, nowhere as a link.
inline constexpr std::uint16_t nobody = 0xffff;

/// Links are numbered in the order in which a frame travels: outward from the controller first.
class LinkTable {
 public:
  struct Entry {
    std::uint16_t from = nobody;  // node, nobody the controller
    std::uint16_t to = nobody;
    bool homeward = false;  // line only: towards the controller
  };

  LinkTable(Shape shape, std::size_t nodes);

  [[nodiscard]] std::size_t size() const { return links_.size(); }
  [[nodiscard]] const Entry& operator[](std::size_t link) const { return links_[link]; }
  /// What the controller sends comes back to it if nobody takes it off.
  [[nodiscard]] bool comes_round() const { return shape_ == Shape::ring; }
  /// Link on which a node answers.
  [[nodiscard]] std::uint16_t answers_on(std::size_t node) const;
  /// Link on which a node sends on what came in over `in`; nobody if the chain ends there.
  [[nodiscard]] std::uint16_t onward(std::uint16_t in) const;
  /// Nodes that pass on an ask to this node, and its answer.
  [[nodiscard]] std::uint64_t steps_to(std::size_t node) const { return node; }
  [[nodiscard]] std::uint64_t steps_home(std::size_t node) const;

 private:
  Shape shape_;
  std::size_t nodes_;
  std::vector<Entry> links_;
};

}  // namespace hopbench
