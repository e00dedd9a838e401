// The boards of a scenario's nodes, as its pack wants them.
#pragma once

#include <vector>

#include "pack/spec.h"
#include "scenario/description.h"

namespace hopbench {

/// In the order of the nodes.
std::vector<BoardInfo> boards_of(const ChainDescription& chain);

}  // namespace hopbench
