// What a mechanism may depend on: one that cannot depend on what separates the failures from what passed is rejected.
#pragma once

#include <cstdint>
#include <set>
#include <vector>

#include "study/common.h"
#include "study/hypothesis.h"
#include "study/predictions.h"

namespace hopbench {

/// A rule rejects only if failures are at least so many times as frequent under it (less may come from what goes along
/// with something else), its chance after correction is below this, and so large a share of the failures is under it.
inline constexpr double rule_lift = 6;
inline constexpr double rule_chance = 1e-6;
inline constexpr double share_under_rule = 0.3;

/// What a rule may be made of, as far as mechanisms care.
enum class FacetGroup : std::uint8_t {
  place,      // leg, node, topic, plan entry, hop, distance
  length,     // of the frame
  order,      // retries, silences, what went before, place in the round
  load,       // time in a forwarder
  condition,  // as told
  content,    // fields, bytes, changes
  counting,   // every so many frames
  period,     // of time
};

/// Conditions are tested by clusters elsewhere, and so say nothing here.
std::set<FacetGroup> may_depend(Mechanism mechanism);

void expect_rules(std::vector<Hypothesis>& all, const Looked& at, const Common& common);

}  // namespace hopbench
