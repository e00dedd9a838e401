// Signatures of mechanisms: what each would leave behind, weighed against one case.
#pragma once

#include <string>
#include <vector>

#include "study/explanation.h"

namespace hopbench {

/// Candidates with any points, best first.
std::vector<Candidate> candidates_for(const Evidence& evidence, const Case& which);

/// How many of the first candidates cannot be told apart: those within a point of the best, and those of one group
/// that this vantage cannot part.
std::size_t tied_at_top(const std::vector<Candidate>& candidates);

/// What would tell the first candidates apart, or prove the first.
Advice next_step(const Evidence& evidence, const Case& which, const std::vector<Candidate>& candidates,
                 std::size_t tied);

}  // namespace hopbench
