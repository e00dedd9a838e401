#include "cli/soak_details.h"

#include <algorithm>
#include <chrono>
#include <utility>

#include "cli/say.h"
#include "record/new_file.h"

namespace hopbench {
namespace {

/// Exchanges before and after each that was not healthy.
constexpr std::uint32_t around = 3;

}  // namespace

SoakDetails::SoakDetails(const SoakDirectory& directory, CaptureOrigin origin, std::uint64_t most, SoakPace pace)
    : ForwardingSink({}), directory_(&directory), origin_(std::move(origin)), most_(most), pace_(pace) {}

void SoakDetails::take_up(std::uint32_t next, std::uint64_t most) {
  most_ = most;
  next_ = next;
  for (const auto& [number, bytes] : directory_->details()) {
    if (number < next_) continue;
    if (pace_ == SoakPace::of_the_clock) {
      next_ = number + 1;
    } else {
      directory_->remove_detail(number);
    }
  }
  keep_within();
}

void SoakDetails::open() {
  thinner_.reset();
  no_listener();
  const bool hurried = pace_ == SoakPace::of_the_clock;
  writer_ = std::make_unique<CaptureWriter>(system_file_ops(), directory_->detail(next_), origin_,
                                            hurried ? real_time_plan(monotonic_now) : unhurried_plan(monotonic_now));
  if (writer_->counts().files.files == 0) {
    if (!trouble_said_)
      say_line("hopbench: {}: {}; the soak goes on without\n", directory_->detail(next_), file_error(writer_->error()));
    trouble_said_ = true;
    writer_.reset();
    try_again_ = std::chrono::steady_clock::now() + std::chrono::seconds(1);
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
  begun();
}

void SoakDetails::begun() { head_bytes_ = writer_ ? writer_->bytes() : 0; }

void SoakDetails::written(int error, std::uint32_t number) {
  if (error == 0 || trouble_said_) return;
  say_line("hopbench: {}: {}; the soak goes on, and counts all\n", directory_->detail(number), file_error(error));
  trouble_said_ = true;
}

void SoakDetails::closed() {
  if (!closing_.valid()) return;
  const Closed result = closing_.get();
  lost_ += result.lost;
  written(result.error, closing_number_);
}

void SoakDetails::end(Nanos until, const Lateness& lateness) {
  closed();
  ForwardingSink::end(until, lateness);
  if (!writer_) return;
  writer_->drain();
  written(writer_->error(), next_ - 1);
  lost_ += writer_->counts().dropped;
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
  begun();
}

void SoakDetails::hand_over() {
  if (thinner_) thinner_->hand_over();
}

void SoakDetails::rotate(Nanos at) {
  hand_over();
  thinner_.reset();
  no_listener();
  closing_number_ = next_ - 1;
  // It waits for the disk, which the chain must not.
  closing_ = std::async(std::launch::async, [writer = std::move(writer_), at] {
    writer->end(at, {});
    return Closed{writer->error(), writer->counts().dropped};
  });
  keep_within();
  go_on();
}

void SoakDetails::tick(Nanos now) {
  if (writer_) writer_->tick();
  if (!writer_) {
    if (std::chrono::steady_clock::now() >= try_again_) go_on();
    return;
  }
  if (closing_.valid() && closing_.wait_for(std::chrono::seconds(0)) != std::future_status::ready) return;
  closed();
  // Small ones, so that little goes when the oldest does; yet no more heads than records.
  if (writer_->bytes() > std::max(most_ / 16, 2 * head_bytes_)) rotate(now);
}

void SoakDetails::keep_within() {
  const auto there = directory_->details();
  std::uint64_t bytes = 0;
  for (const auto& detail : there) bytes += detail.second;
  oldest_ = next_;
  for (const auto& [number, size] : there) {
    // The newest stays.
    if (bytes <= most_ - most_ / 4 || number + 1 >= next_) {
      oldest_ = std::min(number, next_);
      return;
    }
    directory_->remove_detail(number);
    bytes -= size;
  }
}

}  // namespace hopbench
