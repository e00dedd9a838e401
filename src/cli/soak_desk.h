// What every soak test needs, however its time goes by: what is counted, what is saved, what is shown and said.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <future>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "cli/commands.h"
#include "cli/progress_line.h"
#include "cli/soak_details.h"
#include "cli/soak_directory.h"
#include "cli/soak_figures.h"
#include "cli/soak_state.h"
#include "soak/soak.h"
#include "text/scenario.h"
#include "view/soak_report.h"

namespace hopbench {

/// How it is looked at.
struct SoakLook {
  std::string file;      // metrics
  std::string endpoint;  // metrics; good
  Nanos save_every = 0;  // of the computer's time
  bool json = false;
};

class SoakDesk {
 public:
  using Clock = std::chrono::steady_clock;

  SoakDesk(SoakJob what, const SoakLook& look, std::optional<SoakDirectory> folder);

  /// Puts back what was saved. False, said on the standard error, if it cannot be.
  bool take_up(std::span<const std::uint8_t> bytes);
  /// Details can be written from now on, if there is a folder, and figures looked at. Once the job is known. False,
  /// said on the standard error, if nobody can be told of the figures where they were asked for.
  bool open();
  /// Of its captures.
  [[nodiscard]] std::uint64_t run_id() const;
  /// Something was saved, now or before.
  [[nodiscard]] bool saved_once() const { return saved_once_; }

  /// Saves all that is counted, and the job as it stands. False if it could not be; said once.
  bool save();
  /// The same, beside the run, which waits for nothing. False if that is still busy with the one before.
  bool save_beside();
  /// As often as the state is to be saved.
  [[nodiscard]] bool save_due(Clock::time_point now) const { return directory && now - saved_ >= save_every_; }
  void saved(Clock::time_point now) { saved_ = now; }

  /// For who looks on: progress and figures, if it is time for them.
  void look_out(Nanos at, Clock::time_point now);
  /// The verdict, everywhere it goes to. `how`: it came to its end there.
  ExitCode tell(SoakEnd how, Nanos now);

  SoakJob job;
  std::optional<SoakDirectory> directory;
  Protocol protocol;
  Soak soak;
  std::optional<SoakDetails> details;
  SoakFigures figures;
  ProgressLine progress;

 private:
  [[nodiscard]] std::vector<std::uint8_t> state_now();
  bool told_of_save(int error);
  SoakReport report(SoakEnd end, Nanos now);

  bool json_;
  Clock::duration save_every_;
  Clock::time_point began_;
  Clock::time_point saved_;
  Clock::time_point show_from_;
  bool trouble_said_ = false;
  bool saved_once_ = false;
  std::optional<std::chrono::system_clock::duration> saved_at_;  // since 1970
  std::uint32_t next_detail_ = 1;                                // of a soak that was taken up
  std::future<int> saving_;
};

}  // namespace hopbench
