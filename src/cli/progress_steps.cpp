#include "cli/progress_steps.h"

#include <fmt/format.h>

#include "view/number_text.h"

namespace hopbench {
namespace {

double seconds_of(std::chrono::steady_clock::duration span) {
  return std::chrono::duration_cast<std::chrono::duration<double>>(span).count();
}

}  // namespace

std::string time_left(double share, std::chrono::steady_clock::duration took) {
  const double seconds = seconds_of(took);
  if (share <= 0 || share >= 1 || seconds < 0.5) return "";
  const double left = seconds * (1 - share) / share;
  return left > 8.6e8 ? "" : fmt::format(", {} left", long_span(static_cast<Nanos>(left * 1e9)));
}

StepProgress::StepProgress(std::string what) : what_(std::move(what)), began_(std::chrono::steady_clock::now()) {
  line_.show(fmt::format("{}: 0 done", what_));
}

void StepProgress::at(std::size_t done, std::size_t total) {
  if (!any_) done_at_first_ = done > 0 ? done - 1 : 0;
  any_ = true;
  const auto took = std::chrono::steady_clock::now() - began_;
  const auto now = static_cast<double>(done - done_at_first_);
  const auto all = static_cast<double>(total - done_at_first_);
  const double rate = seconds_of(took) > 0 ? now / seconds_of(took) : 0;
  line_.show(fmt::format("{} of {} {}, {:.3g} a second{}", grouped(done), grouped(total), what_, rate,
                         time_left(all > 0 ? now / all : 0, took)));
}

}  // namespace hopbench
