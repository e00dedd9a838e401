#include "cli/soak_details.h"

#include <utility>

#include "cli/say.h"
#include "record/new_file.h"

namespace hopbench {
namespace {

/// Exchanges before and after each that was not healthy.
constexpr std::uint32_t around = 3;

}  // namespace

SoakDetails::SoakDetails(const SoakDirectory& directory, CaptureOrigin origin, std::uint64_t most)
    : ForwardingSink({}), directory_(&directory), origin_(std::move(origin)), most_(most) {}

void SoakDetails::take_up(std::uint32_t next, std::uint32_t oldest, std::uint64_t removed, std::uint64_t most) {
  most_ = most;
  next_ = next;
  oldest_ = oldest;
  removed_ = removed;
  for (std::uint32_t number = next; directory_->detail_bytes(number); ++number) directory_->remove_detail(number);
}

void SoakDetails::open() {
  thinner_.reset();
  no_listener();
  writer_ = std::make_unique<CaptureWriter>(system_file_ops(), directory_->detail(next_), origin_,
                                            unhurried_plan(monotonic_now));
  if (writer_->counts().files.files == 0) {
    if (!trouble_said_)
      say_line("hopbench: {}: {}; the soak goes on without\n", directory_->detail(next_), file_error(writer_->error()));
    trouble_said_ = true;
    writer_.reset();
    return;
  }
  ++next_;
  thinner_ = std::make_unique<Thinner>(*writer_, 0, around);
  // A quarter, so that there are older ones as well.
  thinner_->keep_within(most_ / 4, [writer = writer_.get()] { return writer->bytes(); });
  set_listener(*thinner_);
}

void SoakDetails::begin(const RunInfo& run) {
  run_ = run;
  open();
  ForwardingSink::begin(run);
}

void SoakDetails::end(Nanos until, const Lateness& lateness) {
  ForwardingSink::end(until, lateness);
  if (!writer_) return;
  writer_->drain();
  if (writer_->error() != 0 && !trouble_said_) {
    say_line("hopbench: {}: {}; the soak goes on, and counts all\n", directory_->detail(next_ - 1),
             file_error(writer_->error()));
    trouble_said_ = true;
  }
  thinner_.reset();
  no_listener();
  writer_.reset();
}

void SoakDetails::close(Nanos at) {
  end(at, {});
  keep_within();
}

void SoakDetails::go_on() {
  open();
  if (thinner_) thinner_->begin(run_);
}

void SoakDetails::tick() {
  if (writer_) writer_->tick();
}

void SoakDetails::keep_within() {
  std::uint64_t bytes = 0;
  for (std::uint32_t number = oldest_; number < next_; ++number) bytes += directory_->detail_bytes(number).value_or(0);
  while (bytes > most_ - most_ / 4 && oldest_ + 1 < next_) {
    bytes -= directory_->detail_bytes(oldest_).value_or(0);
    directory_->remove_detail(oldest_++);
    ++removed_;
  }
}

}  // namespace hopbench
