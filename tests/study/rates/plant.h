// Mechanisms that can be hidden in a chain.
#pragma once

#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "base_chain.h"
#include "draft.h"
#include "habits.h"
#include "seen/mechanism.h"

namespace hopbench::rates {

/// What a mechanism is put into, and how strong it is to be.
struct Ground {
  Draft& draft;
  const Habits& habits;
  Dice& dice;         // the same draws at every strength
  std::size_t node;   // where, if it has a place
  double exchanges;   // in the run
  double period;      // ns, from the start of an exchange to the start of the next
  double time_out;    // ns
  double share;       // of the exchanges, that are to fail because of it
  double factor = 1;  // by how much `share` was raised, since it was too weak before

  [[nodiscard]] double run() const { return exchanges * period; }
  /// ns from one event to the next, if each hits as many frames as pass a link in this time and the frame's own.
  [[nodiscard]] double between(std::size_t link, double lasts) const;
  /// A link at the node: into it, or in a line on the way home, or home into the controller.
  [[nodiscard]] std::size_t some_link() const;
};

/// Where it was put; both empty: everywhere.
struct Planted {
  std::vector<std::size_t> links;
  std::vector<std::size_t> nodes;
  bool at_controller = false;
};

struct Plant {
  std::string_view name;
  Mechanism mechanism = Mechanism::bit_noise;
  Wanted wanted;
  /// Nothing if the chain does not suit it.
  std::optional<Planted> (*put)(const Ground&) = nullptr;
  unsigned most_percent = 25;  // of all tries that may fail because of it
};

std::span<const Plant> wire_plants();
std::span<const Plant> station_plants();
std::span<const Plant> power_plants();
std::span<const Plant> fault_plants();
/// All of them.
const std::vector<Plant>& plants();

}  // namespace hopbench::rates
