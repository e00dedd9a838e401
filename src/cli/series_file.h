// `hopbench measure --series`: a capture over time, as a file of comma-separated values.
#pragma once

#include <string>

#include "base/time.h"
#include "cli/commands.h"

namespace hopbench {

struct SeriesOptions {
  std::string path;           // of the file to make; empty: none
  std::string step{"10min"};  // as written
};

/// Reads the capture and writes the file. What is wrong has been said on the standard error then.
ExitCode write_series(const std::string& capture, const SeriesOptions& options);

}  // namespace hopbench
