#include "pack/air.h"

namespace hopbench {

std::int64_t air_mc(const AirSpec& air, Nanos at) {
  constexpr Nanos day = 86'400 * second;
  if (air.swing_mc == 0) return air.mean_mc;
  // From the warmest moment on: down for half a day, up again for the other half.
  const Nanos since = ((at - air.warmest) % day + day) % day;
  const Nanos down = since <= day / 2 ? since : day - since;
  return air.mean_mc + air.swing_mc - static_cast<std::int64_t>(static_cast<__int128>(4) * air.swing_mc * down / day);
}

}  // namespace hopbench
