// What explain says of faults that it cannot know.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "foreign.h"

namespace hopbench::rates {

struct ForeignJudgement {
  std::uint64_t seed = 0;
  std::string name;
  std::string rule;
  std::uint64_t struck = 0;
  std::uint64_t failures = 0;  // of the largest case
  bool named = false;          // one mechanism alone, and so wrongly
  bool rule_said = false;      // by the first sentence on what the failures have in common
  std::string said;
};

ForeignJudgement judged_foreign(std::uint64_t seed);
/// One of each kind and seed from `from` on, `each` times; in order, whatever the number of threads.
std::vector<ForeignJudgement> judged_foreign(std::uint64_t from, std::uint64_t each, unsigned threads);

std::string foreign_table(const std::vector<ForeignJudgement>& all);
std::string foreign_list(const std::vector<ForeignJudgement>& all);

}  // namespace hopbench::rates
