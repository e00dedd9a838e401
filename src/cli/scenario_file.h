// A scenario named on the command line.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "cli/edit_options.h"
#include "text/scenario.h"

namespace hopbench {

/// Reads it; what is wrong goes to the standard error, a line and a caret each. Bus descriptions are looked for among
/// those that come with the program and beside the file.
std::optional<Scenario> read_scenario(const std::string& path);
/// The same, with changed values.
std::optional<Scenario> read_scenario(const std::string& path, const EditOptions& edits);

/// The files that read_scenario() reads: the scenario, the bus description that it names, and the one that it names
/// after the edits. Says nothing of what is wrong with them.
std::vector<std::string> files_read(const std::string& path, const Scenario& after_edits);

}  // namespace hopbench
