// `hopbench capture check`.
#pragma once

#include <string>
#include <vector>

#include "cli/commands.h"
#include "record/capture_reader.h"

namespace hopbench {

/// Prints what is in each. The exit code is that of the worst.
ExitCode check_captures(const std::vector<std::string>& paths, bool json);

/// What is damaged, in a line without its end. Only for damage in the middle.
std::string damage_text(const CaptureDamage& damage);

}  // namespace hopbench
