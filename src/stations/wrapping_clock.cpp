#include "stations/wrapping_clock.h"

#include <algorithm>

namespace hopbench {

std::uint64_t WrappingClock::ticks_at(Nanos at) const {
  return (spec_.starts_at + static_cast<std::uint64_t>(at / spec_.tick)) % modulus();
}

bool WrappingClock::within_time_out(Nanos at) const { return ever() && ticks_at(at) + time_out_ticks() >= modulus(); }

Nanos WrappingClock::calm_until(Nanos now) const {
  if (!ever()) return never;
  if (within_time_out(now)) return now;
  // A tick early, for `now` may be the end of one.
  const std::uint64_t left = modulus() - ticks_at(now) - time_out_ticks() - 1;
  const auto calm = static_cast<__int128>(left) * spec_.tick + now;
  return static_cast<Nanos>(std::min<__int128>(never, calm));
}

}  // namespace hopbench
