// How failures go with each condition, as values: for the tests, and for the sentences on them.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "study/advice.h"
#include "study/cases.h"

namespace hopbench {

/// What becomes of a condition's effect when other conditions that have one are held equal.
enum class Confounding : std::uint8_t {
  alone,       // no other condition has an effect
  holds,       // it is still there
  borrowed,    // it is gone at equal values of another
  cannot_tell  // they move together too closely, or there is too little
};

std::string_view name_of(Confounding confounding);

/// What can be said of one condition.
enum class Standing : std::uint8_t {
  proven,       // failures go with it, and no other condition explains that
  not_apart,    // failures go with it, or with another condition that moves along
  explained,    // failures go with it, but not where another condition is equal
  small,        // beyond chance, and too little to act on
  falls,        // failures become fewer, where only a rise could say something
  not_proven,   // what was seen may be chance
  never_other,  // the same throughout
  too_few,      // failures, or charge cycles or blocks
  not_known     // nobody told it
};

std::string_view name_of(Standing standing);

/// How failures go with one condition.
struct When {
  Condition condition = Condition::balancing;
  Trend trend;
  double adjusted_p = 1;  // after Holm, over the conditions tested
  Confounding confounding = Confounding::alone;
  Standing standing = Standing::not_proven;
  std::vector<Condition> beside;  // not_apart, explained: the other conditions
  /// not_proven: how many more charge cycles, or blocks of time, would prove the effect that was seen (power 80 %);
  /// none: more than twenty times as many as there are.
  std::optional<std::uint64_t> more_clusters;
  std::string sentence;
};

struct Whens {
  std::vector<When> found;      // proven, not apart or explained: family-wise 1 %
  std::vector<When> looked_at;  // every condition, these included
  Advice together;              // on conditions that move together, and what would part them; no text if there are none
  std::size_t tested = 0;       // conditions
  std::size_t could_not = 0;    // conditions that could not be tested
};

}  // namespace hopbench
