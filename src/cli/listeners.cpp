#include "cli/listeners.h"

#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <utility>

#include "view/summary.h"

namespace hopbench {

Listeners::Listeners() : all_{&fold_, &causes_} {}

bool Listeners::record_to(const std::string& path, CaptureOrigin origin) {
  capture_path_ = path;
  capture_.emplace(system_file_ops(), path, std::move(origin));
  if (capture_->error() != 0) {
    const char* remedy =
        capture_->error() == EEXIST ? "; captures are never written over: name another or remove it" : "";
    fmt::print(stderr, "hopbench: {}: {}{}\n", path, std::strerror(capture_->error()), remedy);
    return false;
  }
  all_.add(*capture_);
  return true;
}

void Listeners::flush() {
  if (capture_) capture_->flush();
}

bool Listeners::capture_is_whole() const {
  if (!capture_ || (capture_->error() == 0 && capture_->dropped() == 0)) return true;
  fmt::print(stderr, "hopbench: {}: {}; {} records are not in it\n", capture_path_, std::strerror(capture_->error()),
             capture_->dropped());
  return false;
}

void Listeners::print_summary(bool json) const {
  const Summary summary{fold_.run(), fold_.measures(), causes_.counts().known ? &causes_.counts() : nullptr, {}};
  const char* no_colour = std::getenv("NO_COLOR");
  const bool colour = isatty(STDOUT_FILENO) != 0 && (no_colour == nullptr || *no_colour == '\0');
  fmt::print("{}", json ? summary_json(summary) : summary_table(summary, TableStyle{colour}));
  std::fflush(stdout);
}

}  // namespace hopbench
