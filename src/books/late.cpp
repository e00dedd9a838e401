#include "books/late.h"

#include <array>

namespace hopbench {

Cause cause_of(FaultClass kind) {
  switch (kind) {
    case FaultClass::corruption:
      return Cause::injected_corruption;
    case FaultClass::repetition:
      return Cause::injected_repetition;
    case FaultClass::sequence:
      return Cause::injected_sequence;
    case FaultClass::loss:
      return Cause::injected_loss;
    case FaultClass::delay:
      return Cause::injected_delay;
    case FaultClass::insertion:
      return Cause::injected_insertion;
    case FaultClass::masquerade:
      return Cause::injected_masquerade;
    case FaultClass::address:
      return Cause::injected_address;
    case FaultClass::memory:
      return Cause::injected_memory;
    case FaultClass::reset:
      return Cause::injected_reset;
  }
  return Cause::none;
}

Blame forged(const Passport& passport, std::span<const FaultSpec> faults) {
  if (passport.forged_by >= faults.size()) return {};
  return {cause_of(faults[passport.forged_by].kind), nobody, nobody, passport.forged_by};
}

Blame late_blame(const Holdups& holdups, Nanos late_by, std::uint16_t node, std::span<const FaultSpec> faults) {
  // Of those that are enough by themselves the rarest counts: a time-out is made for what holds every frame up.
  constexpr std::array rarest_first{Holdup::injected, Holdup::busy_node, Holdup::clock, Holdup::measurement};
  Nanos longest = 0;
  Nanos together = 0;
  std::size_t which = holdup_count;
  bool enough = false;
  for (const Holdup each : rarest_first) {
    const Nanos held = holdups[each];
    if (held <= 0) continue;
    together += held;
    if (enough || held <= longest) continue;
    enough = held >= late_by;
    longest = held;
    which = static_cast<std::size_t>(each);
  }
  if (together < late_by) which = holdup_count;
  switch (which) {
    case static_cast<std::size_t>(Holdup::busy_node):
      return {Cause::busy_node, holdups.busy_station, nobody, no_fault};
    case static_cast<std::size_t>(Holdup::measurement):
      return {Cause::measuring, node, nobody, no_fault};
    case static_cast<std::size_t>(Holdup::injected):
      return {holdups.fault < faults.size() ? cause_of(faults[holdups.fault].kind) : Cause::injected_delay, nobody,
              nobody, holdups.fault};
    case static_cast<std::size_t>(Holdup::clock):
      return {Cause::clock, nobody, nobody, no_fault};
    default:
      return {Cause::chain_time, node, nobody, no_fault};
  }
}

}  // namespace hopbench
