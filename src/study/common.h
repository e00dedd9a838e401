// What the failures of a case have in common that what passed at the same places has not, and how they lie in time.
// Needs no list of mechanisms: it is found in the specimens alone.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "study/cases.h"
#include "study/facet.h"
#include "study/rhythm.h"
#include "study/specimens.h"
#include "study/when.h"

namespace hopbench {

/// A part of a rule, for machines and for people.
struct RulePart {
  FacetId facet = FacetId::leg;
  Clause clause;
  std::string label;  // of a field of a frame or of a condition; else empty
  std::string value;  // as text: "n3", "40"
  std::string words;  // "of n3", "longer than 40 characters"
};

/// A description that separates failures from what passed. Counts are of frames or tries at the places of the case.
struct Rule {
  std::vector<RulePart> parts;  // at most three
  std::uint64_t failed_in = 0;  // fall under it
  std::uint64_t in = 0;         // failed ones included
  std::uint64_t failed_out = 0;
  std::uint64_t out = 0;
  double p = 1;  // that a part of it does not matter, corrected; on the half of the capture that was not searched
  std::string sentence;
};

struct Common {
  std::vector<Rule> rules;   // the best first; each of what those before it leave
  bool frames = false;       // what is compared are frames on links, else tries
  bool looked = false;       // there were enough failures, and something to compare them with
  bool sampled = false;      // counts are scaled up
  std::uint64_t tried = 0;   // descriptions
  std::uint64_t facets = 0;  // that they were made from
  Rhythm rhythm;
  std::vector<std::string> sentences;
  std::vector<std::optional<std::uint32_t>> rule_of;  // by incident of the case: none if it falls under no rule
};

/// `protocol`: of the bus; null: frames are bytes only. `when`: of the case.
Common common_of(const Evidence& evidence, const SpecimenFold& specimens, const Case& which, const Whens& when,
                 const Protocol* protocol);

/// For each incident of the case, in the order of `which.incidents`, the rule that it falls under.
inline const std::vector<std::optional<std::uint32_t>>& split_of(const Common& common) { return common.rule_of; }

}  // namespace hopbench
