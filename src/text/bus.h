// Bus descriptions from text.
#pragma once

#include <optional>
#include <vector>

#include "bus/description.h"
#include "text/problem.h"

namespace hopbench {

/// Reads a bus description. Without a result, what is wrong has been appended to `problems` in file order; a result has
/// no faults that Protocol::faults_of would find.
std::optional<BusDescription> load_bus(const TextFile& file, std::vector<Problem>& problems);

}  // namespace hopbench
