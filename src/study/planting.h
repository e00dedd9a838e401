// A chain with nothing wrong, and the same with one mechanism put into it: what a candidate would do to this chain.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "scenario/description.h"
#include "seen/mechanism.h"
#include "study/habits.h"

namespace hopbench {

/// The chain as it is built and asked, without all that makes replies go missing, and without what is stated of that:
/// whatever mechanisms a scenario has, the same chain comes of it.
ChainDescription healthy_twin(ChainDescription chain);

/// One mechanism in a healthy chain.
struct Planting {
  Mechanism mechanism = Mechanism::bit_noise;
  std::string how;  // "bursts of 10 ms on link 3", for whoever looks into it
  ChainDescription chain;
};

struct Dose {
  int step = 0;          // up: stronger than `share` asks for; down: weaker
  double share = 0.01;   // of the tries, that are to fail because of it, about
  double exchanges = 0;  // in a run
  double longest = 0;    // ns: the longest time without a good answer that was seen
};

/// All that are tried: each mechanism near, in the middle and far away, in several ways. None for a mechanism that this
/// chain cannot have. Mechanism::injected and balancing are never among them. `twin`: a healthy chain.
std::vector<Planting> plantings(const ChainDescription& twin, const Habits& habits, const Dose& dose);

}  // namespace hopbench
