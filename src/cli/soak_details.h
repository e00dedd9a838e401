// Captures of what went wrong in a soak test: one after the other, a new one each time that the state was saved.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>

#include "cli/soak_directory.h"
#include "measure/thinner.h"
#include "record/capture_writer.h"
#include "seen/forwarding_sink.h"

namespace hopbench {

/// Trouble with the disk never stops the run: it is said once, and the next file is tried.
class SoakDetails final : public ForwardingSink {
 public:
  /// Files together stay about within `most` bytes: the oldest go first.
  SoakDetails(const SoakDirectory& directory, CaptureOrigin origin, std::uint64_t most);

  /// The files of a soak that is taken up: those up to `next` stay, `removed` are gone already. Later ones are removed:
  /// what they tell of is run again. `most` as it was.
  void take_up(std::uint32_t next, std::uint32_t oldest, std::uint64_t removed, std::uint64_t most);

  void begin(const RunInfo& run) override;
  void end(Nanos until, const Lateness& lateness) override;
  /// Closes the file at this instant, at which nothing is under way. What comes next goes into another.
  void close(Nanos at);
  void go_on();
  void tick();

  [[nodiscard]] std::uint32_t next() const { return next_; }
  [[nodiscard]] std::uint32_t oldest() const { return oldest_; }
  [[nodiscard]] std::uint64_t removed() const { return removed_; }

 private:
  void open();
  void keep_within();

  const SoakDirectory* directory_;
  CaptureOrigin origin_;
  std::uint64_t most_;
  std::uint32_t next_ = 1;
  std::uint32_t oldest_ = 1;
  std::uint64_t removed_ = 0;
  bool trouble_said_ = false;
  RunInfo run_;
  std::unique_ptr<CaptureWriter> writer_;
  std::unique_ptr<Thinner> thinner_;
};

}  // namespace hopbench
