// How far a closer look at a capture reaches, for all that look.
#pragma once

#include <limits>

#include "base/time.h"

namespace hopbench {

inline constexpr Nanos usual_open = 10 * second;

inline Nanos later(Nanos at, Nanos by) {
  return at > std::numeric_limits<Nanos>::max() - by ? std::numeric_limits<Nanos>::max() : at + by;
}

}  // namespace hopbench
