// What each mechanism predicts of a case, with hops seen. Inner part of the judgement.
#pragma once

#include <vector>

#include "study/case_facts.h"
#include "study/forms.h"
#include "study/hypothesis.h"

namespace hopbench {

/// A case and what is known of it.
struct Looked {
  const Evidence& evidence;
  const Case& which;
  const CaseFacts& facts;
};

/// All that could be behind it, each with its predictions. A mechanism may be there more than once, in several forms.
std::vector<Hypothesis> on_wire(const Looked& at);
std::vector<Hypothesis> of_late(const Looked& at);
std::vector<Hypothesis> at_station(const Looked& at);

/// Predictions that every mechanism shares: what the failures go with.
void expect_conditions(Hypothesis& hypothesis, const CaseFacts& facts, GoesWith chances);
/// A station that is off for a while, again and again.
void expect_restarts(Hypothesis& hypothesis, const CaseFacts& facts);

}  // namespace hopbench
