#include "cli/listeners.h"

#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <utility>

#include "cli/say.h"
#include "record/byte_size.h"
#include "record/new_file.h"
#include "view/summary.h"
#include "view/terminal.h"

namespace hopbench {

Listeners::Listeners(const std::string& round_entry) : rounds_(round_entry), all_{&fold_, &causes_, &rounds_} {}

bool Listeners::record_to(const CaptureOptions& options, CaptureOrigin origin, WritePlan plan) {
  if (options.file.empty()) return true;
  capture_path_ = options.file;
  if (options.ack_fd) plan.acknowledge = &ack_.emplace(*options.ack_fd);
  capture_.emplace(system_file_ops(), options.file, std::move(origin), plan);
  const auto counts = capture_->counts().files;
  if (counts.files == 0) {
    const int error = capture_->error();
    const char* remedy = error == EEXIST ? "; captures are never written over: name another or remove it" : "";
    say_line("hopbench: {}: {}{}\n", counts.last_file, file_error(error), remedy);
    return false;
  }
  if (options.keep_one_in || !options.at_most.empty()) {
    Thinner& thinner = thinner_.emplace(*capture_, options.keep_one_in.value_or(1), options.around);
    if (const auto most = parse_byte_size(options.at_most)) {
      thinner.keep_within(*most, [this] { return capture_->bytes(); });
    }
    all_.add(thinner);
  } else {
    all_.add(*capture_);
  }
  return true;
}

void Listeners::tick() {
  if (capture_) capture_->tick();
}

bool Listeners::capture_is_whole() {
  if (!capture_) return true;
  capture_->drain();
  if (ack_) ack_->finish();
  const auto counts = capture_->counts();
  const int error = capture_->error();
  if (error == 0 && counts.dropped == 0) return true;
  const bool whole = counts.dropped == 0 && counts.files.synced >= counts.appended;
  const std::string why = error != 0 ? std::strerror(error) : "the disk was slower than the chain";
  const std::string missing = counts.dropped > 0 ? fmt::format("{} records are not in it", counts.dropped)
                              : counts.files.synced < counts.appended ? "some of it may be missing after a power cut"
                                                                      : "no record is missing";
  const std::string further =
      counts.files.files > 1 ? fmt::format("; it goes on in {}", counts.files.last_file) : std::string();
  say_line("hopbench: {}: {}; {}{}\n", capture_path_, why, missing, further);
  return whole;
}

void Listeners::print_summary(bool json, bool all_rows) const {
  const Summary summary{
      fold_.run(), fold_.measures(),   causes_.counts().known ? &causes_.counts() : nullptr, {}, fold_.coverage(),
      1,           &rounds_.measures()};
  const TableStyle style{colour_wanted(STDOUT_FILENO), all_rows};
  fmt::print("{}", json ? summary_json(summary) : summary_table(summary, style));
  std::fflush(stdout);
}

}  // namespace hopbench
