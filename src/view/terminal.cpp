#include "view/terminal.h"

#include <unistd.h>

#include <cstdlib>
#include <string_view>

namespace hopbench {
namespace {

std::string_view variable(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? std::string_view() : value;
}

}  // namespace

bool is_terminal(int file) { return ::isatty(file) == 1 && variable("TERM") != "dumb"; }

bool colour_wanted(int file) { return is_terminal(file) && variable("NO_COLOR").empty(); }

}  // namespace hopbench
