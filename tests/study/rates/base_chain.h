// Healthy chains drawn from a number: what hidden mechanisms are put into.
#pragma once

#include <cstdint>

#include "draft.h"
#include "support/dice.h"

namespace hopbench::rates {

/// Between `low` and `high`, both above 0, each octave as likely as any other.
double log_between(Dice& dice, double low, double high);
bool chance(Dice& dice, unsigned percent);

/// What the chain has to have, since a mechanism needs it.
struct Wanted {
  bool battery = false;     // and boards that are warmed and supplied by it
  bool balancing = false;   // and a controller that balances
  bool electrical = false;  // forwarding of edges
  bool by_character = false;
  bool multi = false;  // nodes of several cells
  bool bench_frame = false;
  bool counts_exchanges = false;  // a bus with exchange numbers
  bool plain = false;             // whole frames, no battery
  bool line = false;
  bool ring = false;
};

/// A chain without anything wrong, its time-out so long and its run so short that it can be tried. `number` names the
/// luck.
Draft base_chain(std::uint64_t number, const Wanted& wanted);

}  // namespace hopbench::rates
