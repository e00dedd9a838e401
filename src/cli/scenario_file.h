// A scenario named on the command line.
#pragma once

#include <optional>
#include <string>

#include "text/scenario.h"

namespace hopbench {

/// Reads it; what is wrong goes to the standard error, a line and a caret each. Bus descriptions are looked for among
/// those that come with the program and beside the file.
std::optional<Scenario> read_scenario(const std::string& path);

}  // namespace hopbench
