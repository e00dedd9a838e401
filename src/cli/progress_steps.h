// How far work has come and how long it still takes, for the person who waits at a terminal.
#pragma once

#include <chrono>
#include <cstddef>
#include <string>

#include "cli/progress_line.h"

namespace hopbench {

/// ", 12 s left" behind a share (0..1) that took so long; empty as long as there is too little to go by.
std::string time_left(double share, std::chrono::steady_clock::duration took);

/// Work in steps. Shows its first line when it is made.
class StepProgress {
 public:
  /// `what`: steps, as a plural: "runs".
  explicit StepProgress(std::string what);
  void at(std::size_t done, std::size_t total);
  void clear() { line_.clear(); }

 private:
  std::string what_;
  std::chrono::steady_clock::time_point began_;
  std::size_t done_at_first_ = 0;  // done before, in an earlier run of the program
  bool any_ = false;
  ProgressLine line_;
};

}  // namespace hopbench
