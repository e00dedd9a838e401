// The commands of the hopbench program, one file each. A command registers itself with its options and,
// when it is the one that was asked for, runs and puts its exit code where main will return it from.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace hopbench {

/// Exit codes, the same for all commands; shown at the foot of --help.
enum ExitCode : int {
  exit_done = 0,        // done, nothing to object to
  exit_failed = 1,      // the verdict asked for is "no"
  exit_bad_input = 2,   // the command line, a scenario or a bus description is wrong
  exit_trouble = 3,     // a port or a file cannot be used, or the program itself is at fault
  exit_incomplete = 4,  // undecided, interrupted, or something was left out
};

/// Says on the standard error what is wrong with the input, in one line.
ExitCode bad_input(const std::string& what);

void add_check(CLI::App& app, int& exit_code);
void add_coexist(CLI::App& app, int& exit_code);
void add_field(CLI::App& app, int& exit_code);
void add_frame(CLI::App& app, int& exit_code);
void add_budget(CLI::App& app, int& exit_code);
void add_run(CLI::App& app, int& exit_code);
void add_measure(CLI::App& app, int& exit_code);
void add_emulate(CLI::App& app, int& exit_code);
void add_capture(CLI::App& app, int& exit_code);
void add_explain(CLI::App& app, int& exit_code);
void add_compare(CLI::App& app, int& exit_code);
void add_inspect(CLI::App& app, int& exit_code);
void add_new(CLI::App& app, int& exit_code);
void add_shrink(CLI::App& app, int& exit_code);
void add_sweep(CLI::App& app, int& exit_code);
void add_soak(CLI::App& app, int& exit_code);

}  // namespace hopbench
