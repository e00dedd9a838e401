// Captures of what went wrong in a soak test: one after the other, a new one each time that the state was saved, or
// when one has become large.
#pragma once

#include <chrono>
#include <cstdint>
#include <future>
#include <memory>
#include <optional>

#include "cli/soak_directory.h"
#include "measure/thinner.h"
#include "record/capture_writer.h"
#include "seen/forwarding_sink.h"

namespace hopbench {

enum class SoakPace : std::uint8_t {
  of_its_own,    // the run waits for the disk
  of_the_clock,  // it never does
};

/// Trouble with the disk never stops the run: it is said once, and the next file is tried.
class SoakDetails final : public ForwardingSink {
 public:
  /// Captures together stay within `most` bytes, but for the one that is being written: the oldest go first.
  SoakDetails(const SoakDirectory& directory, CaptureOrigin origin, std::uint64_t most, SoakPace pace);

  /// The captures of a soak that is taken up: those up to `next` stay. Later ones are removed where what they tell of
  /// is run again. Where it is not they stay, and the next one comes after them. `most` as it was.
  void take_up(std::uint32_t next, std::uint64_t most);

  void begin(const RunInfo& run) override;
  /// Each ask is one: too much for weeks.
  void arrival(const Arrival&) override {}
  void end(Nanos until, const Lateness& lateness) override;
  /// Closes the file at this instant, at which nothing is under way. What comes next goes into another.
  void close(Nanos at);
  void go_on();
  void tick(Nanos now);
  /// Everything told so far is with the writer.
  void hand_over();

  [[nodiscard]] std::uint32_t next() const { return next_; }
  /// Captures that are gone. Their numbers begin at 1, and the oldest went first.
  [[nodiscard]] std::uint64_t removed() const { return oldest_ - 1; }
  /// The file that is being written, or else the one that comes next.
  [[nodiscard]] std::uint32_t writing() const { return writer_ ? next_ - 1 : next_; }
  /// Records that are in no file, since the disk was full or could not be written.
  [[nodiscard]] std::uint64_t lost() const { return lost_ + (writer_ ? writer_->counts().dropped : 0); }

 private:
  /// What came of a file.
  struct Closed {
    int error = 0;
    std::uint64_t lost = 0;  // records
  };

  void open();
  void begun();
  void rotate(Nanos at);
  void written(int error, std::uint32_t number);
  void closed();
  void keep_within();

  const SoakDirectory* directory_;
  CaptureOrigin origin_;
  std::uint64_t most_;
  SoakPace pace_;
  std::uint32_t next_ = 1;
  std::uint32_t oldest_ = 1;
  std::uint64_t lost_ = 0;
  bool trouble_said_ = false;
  RunInfo run_;
  std::unique_ptr<CaptureWriter> writer_;
  std::uint64_t head_bytes_ = 0;  // of what is being written
  std::unique_ptr<Thinner> thinner_;
  std::uint32_t closing_number_ = 0;
  std::future<Closed> closing_;  // of the file before
  std::chrono::steady_clock::time_point try_again_;
};

}  // namespace hopbench
