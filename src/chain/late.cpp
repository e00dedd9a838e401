#include "chain/late.h"

namespace hopbench {

Blame late_blame(const Holdups& holdups, Nanos late_by, std::uint16_t node, const Injector& injector) {
  Nanos longest = 0;
  Nanos together = 0;
  std::size_t which = holdup_count;
  for (std::size_t i = 0; i < holdup_count; ++i) {
    const Nanos held = holdups.without[i];
    if (held <= 0) continue;
    together += held;
    if (held <= longest) continue;
    longest = held;
    which = i;
  }
  if (together < late_by) which = holdup_count;
  switch (which) {
    case static_cast<std::size_t>(Holdup::busy_node):
      return {Cause::busy_node, holdups.busy_station, nobody, no_fault};
    case static_cast<std::size_t>(Holdup::measurement):
      return {Cause::measuring, node, nobody, no_fault};
    case static_cast<std::size_t>(Holdup::injected):
      return {injector.cause_of(holdups.fault), nobody, nobody, holdups.fault};
    case static_cast<std::size_t>(Holdup::clock):
      return {Cause::clock, nobody, nobody, no_fault};
    default:
      return {Cause::chain_time, node, nobody, no_fault};
  }
}

}  // namespace hopbench
