// Under which conditions failures become more frequent, and which of those conditions only move together.
#pragma once

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

/// How failures go with one condition.
struct When {
  Condition condition = Condition::balancing;
  Trend trend;
  double adjusted_p = 1;  // after Holm, over the conditions tested
  Confounding confounding = Confounding::alone;
  std::string sentence;
};

struct Whens {
  std::vector<When> found;    // family-wise 1 %
  Advice together;            // on conditions that move together, and what would part them; no text if there are none
  std::size_t tested = 0;     // conditions
  std::size_t could_not = 0;  // conditions that could not be tested
};

Whens whens_of(const Evidence& evidence, const Case& which);

}  // namespace hopbench
