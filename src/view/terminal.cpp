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

bool writes_utf8() {
  for (const char* name : {"LC_ALL", "LC_CTYPE", "LANG"}) {
    const auto locale = variable(name);
    if (locale.empty()) continue;
    return locale.find("UTF-8") != std::string_view::npos || locale.find("utf8") != std::string_view::npos;
  }
  return false;
}

}  // namespace hopbench
