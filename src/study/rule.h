// A description that separates failures from what passed.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "study/facet.h"

namespace hopbench {

/// A part of a rule, for machines and for people.
struct RulePart {
  FacetId facet = FacetId::leg;
  Clause clause;
  std::string label;  // of a field of a frame or of a condition; else empty
  std::string value;  // as text: "n3", "40"
  std::string words;  // "of n3", "longer than 40 characters"; of the leg none, it is the noun before them
};

/// Counts are of frames or tries at the places of a case.
struct Rule {
  std::vector<RulePart> parts;  // at most three
  bool frames = false;          // what is counted; else tries
  bool scaled = false;          // counts are scaled up from a sample
  std::uint64_t failed_in = 0;  // fall under it
  std::uint64_t in = 0;         // failed ones included
  std::uint64_t failed_out = 0;
  std::uint64_t out = 0;
  double p = 1;  // that a part of it does not matter, corrected; on the half of the capture that was not searched
  std::string sentence;
};

}  // namespace hopbench
