// What an ear's finding is called.
#pragma once

#include "bus/decoder.h"
#include "seen/symptom.h"

namespace hopbench {

/// none: a good frame. What is wrong with a character comes before what is wrong with the frame.
[[nodiscard]] Symptom symptom_of(const Finding& finding);

}  // namespace hopbench
