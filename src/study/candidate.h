// A mechanism that may be behind a case.
#pragma once

#include <string>

#include "seen/mechanism.h"

namespace hopbench {

/// A mechanism that what was seen would fit, with why in one sentence.
struct Candidate {
  Mechanism mechanism = Mechanism::bit_noise;
  double score = 0;  // points for and against; only differences mean anything
  std::string evidence;
};

}  // namespace hopbench
