// Rules in words.
#pragma once

#include <string>
#include <vector>

#include "study/cases.h"
#include "study/rule.h"

namespace hopbench {

/// Fills in `label`, `value` and `words` of a part. `facet`: its own.
void say_part(RulePart& part, const Facet& facet, const Evidence& evidence, const std::vector<RulePart>& all);
/// The counts alone, without a full stop: "1,289 of 1,290 replies of n3 failed; none of 41,223 other frames on hop 4
/// (n3 -> n4) did."
std::string counts_of(const Rule& rule, const Evidence& evidence, const Case& which);
/// The same with how sure it is. `first`: of the case's rules.
std::string sentence_of(const Rule& rule, const Evidence& evidence, const Case& which, bool first);

}  // namespace hopbench
