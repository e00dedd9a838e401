// Signatures of mechanisms: what each would leave behind, weighed against one case.
#pragma once

#include <vector>

#include "study/candidate.h"
#include "study/cases.h"

namespace hopbench {

/// Candidates with any points, best first.
std::vector<Candidate> candidates_for(const Evidence& evidence, const Case& which);

/// How many of the first candidates cannot be told apart: those within a point of the best, and those of one group
/// that this vantage cannot part.
std::size_t tied_at_top(const std::vector<Candidate>& candidates);

}  // namespace hopbench
