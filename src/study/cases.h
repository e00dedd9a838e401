// Failures that look alike and happen at the same place, taken together as one case to be explained.
#pragma once

#include <cstdint>
#include <vector>

#include "judge/trend.h"
#include "study/evidence.h"
#include "study/family.h"
#include "study/stand_out.h"

namespace hopbench {

struct Case {
  Family family = Family::unseen;
  std::vector<std::uint16_t> links;      // wire: where; empty: no place of its own
  std::vector<std::uint16_t> stations;   // others: where; no_station is the controller
  bool placed = false;                   // it happens at these places and hardly elsewhere
  bool part = false;                     // others at the same place look different
  std::vector<std::uint32_t> incidents;  // indices into Evidence.incidents
};

/// Fills in where the incidents are.
void find_places(const Evidence& evidence, Case& which);

/// Largest first.
std::vector<Case> cases_of(const Evidence& evidence, const std::vector<StandOut>& outstanding);

/// Tries and this case's incidents by clusters and one condition, in strata of equal others. `strata`: conditions of
/// state; charge counts as on or off there.
std::vector<Tried> tabulate(const Evidence& evidence, const Case& which, Condition condition,
                            const std::vector<Condition>& strata);

/// Whether clusters are charge cycles (enough of them began) rather than blocks of time.
bool clusters_are_cycles(const Evidence& evidence);

/// In how many charge cycles (or blocks) it was seen.
std::uint32_t clusters_hit(const Evidence& evidence, const Case& which);
std::uint32_t clusters_in_all(const Evidence& evidence);

}  // namespace hopbench
