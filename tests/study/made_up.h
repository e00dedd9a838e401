// Invented observations: a ring through weeks of charge cycles, told to an Observer without any chain behind it, so
// that what goes wrong when is exactly what the test says.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "study/observed.h"

namespace hopbench::made_up {

/// What surrounds an exchange.
struct Around {
  double hour = 0;  // of the day
  std::uint32_t cells = 0;
  bool charging = false;
  double board = 25;  // degrees Celsius, of every board
};

struct Plan {
  std::size_t nodes = 8;
  std::uint32_t days = 14;
  Nanos every = 20 * second;
  std::uint64_t seed = 1;
  /// Chance that a frame on this link is damaged.
  std::function<double(std::size_t link, const Around& around)> damage;
  /// Of the damaged frames: share with a stop bit hit. One damaged bit hits one, or loses the character's end, about
  /// one time in five.
  double stop_bits = 0.19;
  /// How much longer than nominal the characters of a sender are (0 the controller, 1.. the nodes).
  std::function<double(std::size_t sender, const Around& around)> slow = [](std::size_t, const Around&) { return 0.0; };
  /// Balancing goes on for so long after charging has ended, and begins so long before; hours.
  double balance_before = 2;
  double balance_after = 1.5;
  /// Balancing only while charging, at all of it: the two cannot be told apart.
  bool always_together = false;
};

void tell(const Plan& plan, Observer& observer);

}  // namespace hopbench::made_up
