#include "study/as_told.h"

#include "seen/reality.h"

namespace hopbench {

void AsTold::begin(const RunInfo& run) {
  takes_ = take_ == TakeTold::always || reality_of(run) == Reality::real_chain;
  observer_->begin(run);
  told_.begin(run);
  version_ = told_.version();
  // What nobody tells is unknown from the start, and whether the bus could tell it is known already.
  if (takes_) observer_->conditions(told_.now());
}

}  // namespace hopbench
