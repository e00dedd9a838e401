// The controller's rule of balancing: from what it last read of each cell to which cells are to be bled. Knows nothing
// of frames; the controller reads for it and tells the nodes.
#pragma once

#include <cstdint>
#include <vector>

#include "base/archive.h"
#include "base/time.h"
#include "scenario/description.h"

namespace hopbench {

class Balancer {
 public:
  /// `cells`: of each node.
  Balancer(const BalancingSpec& spec, const std::vector<std::uint32_t>& cells);

  /// A cell's voltage was read at `at`. What is older than what is known already is dropped.
  void read(std::uint16_t node, std::uint32_t cell, std::int64_t uv, Nanos at);
  /// Looks at the cells, and returns the nodes that have to be told: wanted() of them differs from what they were last
  /// known to do, or they are to be told again. Stays good until the next look.
  const std::vector<std::uint16_t>& look(Nanos now);
  /// Cells of a node that are to be bled, a bit each.
  [[nodiscard]] std::uint32_t wanted(std::uint16_t node) const { return nodes_[node].wanted; }
  /// The node has acknowledged this mask.
  void told(std::uint16_t node, std::uint64_t mask, Nanos now);

  void keep(Archive& archive);

 private:
  struct Reading {
    std::int64_t uv = 0;
    Nanos at = never;  // never: not read yet
  };
  struct NodeCells {
    std::vector<Reading> cells;
    std::uint32_t wanted = 0;
    std::uint64_t does = 0;
    Nanos told_at = 0;
  };
  struct Candidate {
    std::int64_t uv;
    std::uint16_t node;
    std::uint32_t cell;
  };
  [[nodiscard]] bool known(const Reading& reading, Nanos now) const {
    return reading.at != never && now - reading.at <= spec_.forget_after;
  }

  BalancingSpec spec_;
  std::vector<NodeCells> nodes_;
  std::vector<Candidate> candidates_;
  std::vector<std::uint16_t> to_tell_;
};

}  // namespace hopbench
