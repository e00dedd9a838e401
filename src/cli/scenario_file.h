// A scenario named on the command line.
#pragma once

#include <optional>
#include <string>

#include "cli/edit_options.h"
#include "text/scenario.h"

namespace hopbench {

/// Reads it; what is wrong goes to the standard error, a line and a caret each. Bus descriptions are looked for among
/// those that come with the program and beside the file.
std::optional<Scenario> read_scenario(const std::string& path);
/// The same, with changed values.
std::optional<Scenario> read_scenario(const std::string& path, const EditOptions& edits);

}  // namespace hopbench
