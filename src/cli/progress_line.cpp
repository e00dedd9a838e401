#include "cli/progress_line.h"

#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>

#include "cli/say.h"
#include "view/terminal.h"

namespace hopbench {

ProgressLine::ProgressLine() : shows_(is_terminal(STDERR_FILENO)) {}

ProgressLine::~ProgressLine() { clear(); }

void ProgressLine::show(const std::string& text) {
  if (!shows_) return;
  say_line("\r\x1b[K{}", text);
  std::fflush(stderr);
  shown_ = true;
}

void ProgressLine::clear() {
  if (shown_) say_line("\r\x1b[K");
  std::fflush(stderr);
  shown_ = false;
}

}  // namespace hopbench
