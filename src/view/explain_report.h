// An explanation as text for people and as JSON for machines.
#pragma once

#include <string>

#include "measure/causes.h"
#include "record/capture_damage.h"
#include "study/explanation.h"
#include "view/rate_text.h"

namespace hopbench {

/// 80 columns wide. `causes`: told under a heading of their own, last; null where they are not known or not wanted.
std::string explain_text(const Explanation& explanation, const RunInfo& run, const CauseCounts* causes,
                         Bars bars = Bars::none);

/// One document with a line end; docs/explain.md tells what each key means.
/// `damage`: of the capture that was read; null where there is none to tell of.
std::string explain_json(const Explanation& explanation, const RunInfo& run, const CauseCounts* causes,
                         const CaptureDamage* damage = nullptr);

}  // namespace hopbench
