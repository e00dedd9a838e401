#include "line/sojourn.h"

#include <algorithm>

namespace hopbench {

Sojourns::Sojourns(StreamKey stream, Nanos mean_good, Nanos mean_bad, Nanos start)
    : stream_(stream),
      mean_good_(mean_good),
      mean_bad_(mean_bad),
      origin_(start / most_passed_over < mean_good + mean_bad ? 0 : start) {}

void Sojourns::extend() {
  const Nanos from = bad_.empty() ? origin_ : bad_.back().to;
  const auto bits = draw2(stream_, made_++, 0);
  const Nanos begins = from + std::max<Nanos>(1, exponential(mean_good_, bits[0]));
  bad_.push_back({begins, begins + std::max<Nanos>(1, exponential(mean_bad_, bits[1]))});
  if (bad_.size() > memory) bad_.pop_front();
}

const Interval& Sojourns::bad_after(Nanos from) {
  if (!ever_bad()) return none_;
  while (bad_.empty() || bad_.back().to <= from) extend();
  return *std::find_if(bad_.begin(), bad_.end(), [from](const Interval& each) { return each.to > from; });
}

}  // namespace hopbench
