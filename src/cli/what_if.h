// What the what-if study prints, and how it is started from the command line.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "cli/edit_options.h"

namespace hopbench {

struct WhatIfOptions {
  std::string scenario;
  std::optional<std::uint64_t> seed;
  std::string span;                        // as text, e.g. "30d"; empty: as the scenario says, or 1h
  std::optional<std::uint64_t> exchanges;  // instead of a span
  EditOptions edits;
  unsigned threads = 0;  // 0: as many as the machine has
  bool shares = false;
  bool json = false;
  std::string controller;
  std::string hang_after;
};

/// Runs the study and prints it. Returns an ExitCode.
int what_if_command(const WhatIfOptions& options);

}  // namespace hopbench
