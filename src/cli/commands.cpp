#include "cli/commands.h"

#include <fmt/format.h>

#include <cstdio>

#include "cli/say.h"

namespace hopbench {

ExitCode bad_input(const std::string& what) {
  say_line("hopbench: {}\n", what);
  return exit_bad_input;
}

}  // namespace hopbench
