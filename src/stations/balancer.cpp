#include "stations/balancer.h"

#include <algorithm>
#include <limits>
#include <tuple>

namespace hopbench {

Balancer::Balancer(const BalancingSpec& spec, const std::vector<std::uint32_t>& cells) : spec_(spec) {
  for (const std::uint32_t count : cells) {
    NodeCells node;
    node.cells.resize(count);
    nodes_.push_back(node);
  }
}

void Balancer::read(std::uint16_t node, std::uint32_t cell, std::int64_t uv, Nanos at) {
  if (node >= nodes_.size() || cell >= nodes_[node].cells.size()) return;
  Reading& reading = nodes_[node].cells[cell];
  if (reading.at == never || reading.at <= at) reading = {uv, at};
}

const std::vector<std::uint16_t>& Balancer::look(Nanos now) {
  to_tell_.clear();
  candidates_.clear();
  const Nanos round = spec_.on_for + spec_.off_for;
  const bool rests = spec_.on_for > 0 && spec_.off_for > 0 && now % round >= spec_.on_for;
  std::int64_t lowest = std::numeric_limits<std::int64_t>::max();
  for (const NodeCells& node : nodes_) {
    for (const Reading& reading : node.cells) {
      if (known(reading, now)) lowest = std::min(lowest, reading.uv);
    }
  }
  const auto count = static_cast<std::uint16_t>(nodes_.size());
  for (std::uint16_t n = 0; n < count; ++n) {
    NodeCells& node = nodes_[n];
    for (std::uint32_t cell = 0; cell < node.cells.size(); ++cell) {
      const Reading& reading = node.cells[cell];
      const bool bled = (node.wanted >> cell & 1U) != 0;
      const std::int64_t enough = spec_.difference_uv - (bled ? spec_.hysteresis_uv : 0);
      if (!rests && known(reading, now) && reading.uv >= spec_.start_uv && reading.uv - lowest >= enough)
        candidates_.push_back({reading.uv, n, cell});
    }
  }
  if (spec_.at_once != 0 && candidates_.size() > spec_.at_once) {
    std::sort(candidates_.begin(), candidates_.end(), [](const Candidate& a, const Candidate& b) {
      return std::tuple(-a.uv, a.node, a.cell) < std::tuple(-b.uv, b.node, b.cell);
    });
    candidates_.resize(spec_.at_once);
  }
  for (NodeCells& node : nodes_) node.wanted = 0;
  for (const Candidate& each : candidates_) nodes_[each.node].wanted |= 1U << each.cell;
  for (std::uint16_t n = 0; n < count; ++n) {
    const NodeCells& node = nodes_[n];
    const bool again = spec_.repeat_after > 0 && node.wanted != 0 && now - node.told_at >= spec_.repeat_after;
    if (node.wanted != node.does || again) to_tell_.push_back(n);
  }
  return to_tell_;
}

void Balancer::told(std::uint16_t node, std::uint64_t mask, Nanos now) {
  nodes_[node].does = mask;
  nodes_[node].told_at = now;
}

}  // namespace hopbench
