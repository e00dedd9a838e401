// Several nodes in a few words. Inner part of src/text.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "scenario/description.h"

namespace hopbench {

/// Names of nodes in chain order, runs of neighbours written as in a scenario ("a1..a6"); what is beyond a handful is
/// counted.
std::string node_names(const ChainDescription& chain, const std::vector<std::uint16_t>& nodes);

}  // namespace hopbench
