// Requirements from a scenario's message. Inner part of src/text.
#pragma once

#include <vector>

#include "scenario.pb.h"
#include "text/outline.h"
#include "text/requirement.h"

namespace hopbench {

std::vector<Requirement> requirements_from(const text::Scenario& scenario, const Spot& root,
                                           const ChainDescription& chain);

}  // namespace hopbench
