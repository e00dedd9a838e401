// A condition that comes and goes by itself, in continuous time: good for a while, bad for a while. It does not know of
// any traffic, so traffic does not move it.
#pragma once

#include <cstdint>
#include <deque>

#include "base/luck.h"
#include "base/time.h"

namespace hopbench {

struct Interval {
  Nanos from = 0;
  Nanos to = 0;  // not part of it
};

class Sojourns {
 public:
  /// Exponential sojourns with these means (each > 0; mean_good 0: never bad). Good at first.
  /// They begin at time 0. If anybody asks about them from `start` on only, and they would have been bad more than
  /// `most_passed_over` times by then, they begin at `start` instead: for sojourns of this kind as likely as anything.
  Sojourns(StreamKey stream, Nanos mean_good, Nanos mean_bad, Nanos start);

  /// First bad interval that ends after `from`. Calls may go back in time by less than `memory` bad intervals.
  [[nodiscard]] const Interval& bad_after(Nanos from);

  [[nodiscard]] bool ever_bad() const { return mean_good_ > 0; }

 private:
  void extend();

  static constexpr std::size_t memory = 64;
  static constexpr Nanos most_passed_over = 10'000;
  StreamKey stream_;
  Nanos mean_good_;
  Nanos mean_bad_;
  Nanos origin_;
  std::uint64_t made_ = 0;  // bad intervals made so far
  std::deque<Interval> bad_;
  Interval none_{never, never};
};

}  // namespace hopbench
