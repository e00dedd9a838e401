// What holds around the frames: the battery and the boards on their grid, what is bled, whether the charger charges.
// Tells nodes and links when something of it changes, and the listener of the state.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "engine/event_queue.h"
#include "pack/pack.h"
#include "seen/observation.h"
#include "stations/node.h"
#include "wires/link.h"
#include "wires/works.h"

namespace hopbench {

class Surroundings final : public Actor {
 public:
  /// All must outlive it.
  Surroundings(Works& works, std::vector<Node*> nodes, const std::vector<std::unique_ptr<Link>>& links);

  /// All stations and links are there: they take up what holds at the start, and the grid begins.
  void begin();
  [[nodiscard]] const Pack& pack() const { return pack_; }
  [[nodiscard]] std::uint32_t cells_balancing() const { return cells_balancing_; }

  /// Some node bleeds other cells than before, or has been switched off or on. Works::changing() comes before.
  void bleeds_changed();
  /// Tells of the state as it is now.
  void tell();

  void on_event(Nanos now, std::uint64_t what) override;

 private:
  void go_on(Nanos now);
  void settle_supply(std::size_t node, bool was_out, Nanos now);
  void settle_watchdog(std::size_t node, Nanos now);
  [[nodiscard]] bool moved_since_told() const;

  Works* works_;
  std::vector<Node*> nodes_;
  const std::vector<std::unique_ptr<Link>>* links_;
  bool goes_;  // there is a grid at all
  Pack pack_;
  std::uint64_t steps_ = 0;
  std::uint32_t cells_balancing_ = 0;
  std::vector<NodeState> told_nodes_;
  std::int64_t told_charge_ma_ = 0;
  // scratch
  std::vector<std::uint32_t> bleeding_;
  std::vector<bool> starting_;
  std::vector<BoardState> before_;
  std::vector<Nanos> bites_;
};

}  // namespace hopbench
