// The options of commands that record.
#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>

#include "record/write_plan.h"

namespace hopbench {

struct CaptureOptions {
  std::string file;  // empty: nothing is recorded
  std::string rotate;
  std::optional<int> ack_fd;
  std::optional<std::uint32_t> keep_one_in;  // thinned: of the healthy exchanges one in so many is kept; 0: none
  std::string at_most;                       // bytes in all
  std::uint32_t around = 3;                  // and so many before and after each other one
};

void add_capture_options(CLI::App& command, CaptureOptions& options);

/// Puts what was asked for into `plan`. Returns false, and says why on stderr, if it cannot be done.
bool apply(const CaptureOptions& options, WritePlan& plan);

}  // namespace hopbench
