#include "cli/commands.h"

#include <fmt/format.h>

#include <cstdio>

namespace hopbench {

ExitCode bad_input(const std::string& what) {
  fmt::print(stderr, "hopbench: {}\n", what);
  return exit_bad_input;
}

}  // namespace hopbench
