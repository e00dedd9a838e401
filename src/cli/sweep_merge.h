// Sweeps put together from the folders that keep their runs, and how a sweep is printed.
#pragma once

#include <string>
#include <vector>

#include "cli/commands.h"
#include "study/sweep.h"

namespace hopbench {

struct SweepPrint {
  bool json = false;
  bool csv = false;
};

/// On the standard output.
void print_sweep(const Sweep& sweep, SweepPrint how);

/// Joins what the folders hold and prints it as the whole sweep would have been.
ExitCode merge_sweeps(const std::vector<std::string>& paths, SweepPrint how);

}  // namespace hopbench
