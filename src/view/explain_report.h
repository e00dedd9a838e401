// An explanation as text for people and as JSON for machines.
#pragma once

#include <string>

#include "measure/causes.h"
#include "study/explanation.h"

namespace hopbench {

/// 100 columns wide. `causes`: told under a heading of their own, last; null where they are not known or not wanted.
std::string explain_text(const Explanation& explanation, const RunInfo& run, const CauseCounts* causes);

/// One document with a line end; docs/explain.md tells what each key means.
std::string explain_json(const Explanation& explanation, const RunInfo& run, const CauseCounts* causes);

}  // namespace hopbench
