// What the failures of a case have in common that what passed at the same places has not, and how they lie in time.
// Needs no list of mechanisms: it is found in the specimens alone.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "study/cases.h"
#include "study/damage_place.h"
#include "study/rhythm.h"
#include "study/rule.h"
#include "study/specimens.h"
#include "study/strange_answers.h"
#include "study/when.h"

namespace hopbench {

struct Common {
  std::vector<Rule> rules;   // the best first; each of what those before it leave
  bool frames = false;       // what is compared are frames on links, else tries
  bool looked = false;       // there were enough failures, and something to compare them with
  bool sampled = false;      // counts are scaled up
  std::uint64_t tried = 0;   // descriptions
  std::uint64_t facets = 0;  // that they were made from
  Rhythm rhythm;
  std::optional<DamagePlace> damage;
  DamageStarts damage_starts;
  std::vector<StrangeAnswers> strange;
  std::vector<std::string> sentences;
  std::vector<std::optional<std::uint32_t>> rule_of;  // by incident of the case: none if it falls under no rule
};

/// `protocol`: of the bus; null: frames are bytes only. `when`: of the case.
Common common_of(const Evidence& evidence, const SpecimenFold& specimens, const Case& which, const Whens& when,
                 const Protocol* protocol);

}  // namespace hopbench
