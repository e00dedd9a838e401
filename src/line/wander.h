// A frequency that wanders, as that of the mains does: its phase runs ahead and behind. Between points in time that lie
// evenly it is off by a constant share; a point's phase is drawn by its number, so that any instant can be looked up.
#pragma once

#include <cstdint>

#include "base/luck.h"
#include "base/time.h"

namespace hopbench {

class Wander {
 public:
  Wander() = default;
  /// Off by up to `most_ppb`, another share every `every` (> 0). `stream` names its luck.
  Wander(StreamKey stream, std::int64_t most_ppb, Nanos every);

  /// By how much the phase is ahead at `at` (>= 0), as time.
  [[nodiscard]] Nanos ahead(Nanos at) const;

 private:
  [[nodiscard]] Nanos point(std::int64_t number) const;

  StreamKey stream_;
  Nanos most_ = 0;  // that a point is ahead or behind
  Nanos every_ = 1;
  // The points around the instant that was looked up last.
  mutable std::int64_t number_ = -1;
  mutable Nanos from_ = 0;
  mutable Nanos to_ = 0;
};

}  // namespace hopbench
