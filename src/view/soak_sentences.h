// What may be said after a soak test, and what may not.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "view/soak_report.h"

namespace hopbench {

/// "a framing error".
std::string_view symptom_in_words(Symptom symptom);
/// What a requirement counts, in words: "exchanges failed after their retries", "good frames on hop 3 came with a wrong
/// check".
std::string counted_in_words(const PropertyTerm& term);
/// What a limit is on: "longest time without a reading of a cell of n3".
std::string limited_in_words(const PropertyTerm& term);
/// A value of a limit: "7.4 min", "12".
std::string limit_value(const PropertyTerm& term, std::uint64_t value);

struct SoakSentences {
  std::string may;      // a sentence that may be quoted as it stands
  std::string may_not;  // one that must not be made of it
  std::string because;  // why not
};

/// For one requirement.
SoakSentences sentences_on(const SoakReport& report, const Requirement& requirement, const RequirementState& state);

}  // namespace hopbench
