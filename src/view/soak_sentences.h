// What may be said after a soak test, and what may not.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "view/soak_report.h"

namespace hopbench {

/// What became of a frame: "arrived with a framing error".
std::string_view symptom_in_words(Symptom symptom);
/// What became of an exchange: "got no reply".
std::string_view outcome_in_words(Outcome outcome);
/// "b1, cell 0, from 2 d 13:19:10"; "b1, cells 0 to 11, never read, from 00:00:00".
std::string unread_in_words(const CellsUnread& cells);
/// What a requirement counts, in words: "77,604 exchanges failed after all retries", "1 frame on hop 3 arrived with a
/// framing error".
std::string counted_in_words(const PropertyTerm& term, std::uint64_t trials);
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
