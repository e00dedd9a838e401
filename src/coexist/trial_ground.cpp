#include "coexist/trial_ground.h"

namespace hopbench {

void TrialCounts::add(const TrialCounts& other) {
  chains += other.chains;
  exchanges += other.exchanges;
  frames += other.frames;
  strikes += other.strikes;
  resets += other.resets;
  pairs += other.pairs;
}

}  // namespace hopbench
