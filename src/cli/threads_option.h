// The option --threads of the commands that run a scenario many times.
#pragma once

#include <CLI/CLI.hpp>

namespace hopbench {

/// `threads` is 0 if it is not given.
CLI::Option* add_threads_option(CLI::App& command, unsigned& threads);
/// 0: one for each core of the machine.
unsigned threads_or_all(unsigned threads);

}  // namespace hopbench
