// --controller and --hang-after: a program in the controller's seat, in virtual time.
#pragma once

#include <CLI/CLI.hpp>
#include <chrono>
#include <memory>
#include <mutex>
#include <optional>
#include <string>

#include "port/granted_run.h"
#include "study/in_seat.h"

namespace hopbench {

struct ControllerOption {
  ControllerAt at;
  std::chrono::milliseconds hang_after{0};
};

/// The first trouble with the controller in a study's runs. From any thread.
class ControllerTrouble {
 public:
  void say(const std::string& what) {
    const std::lock_guard lock(mutex_);
    if (what_.empty()) what_ = what;
  }
  [[nodiscard]] bool any() const { return !what().empty(); }
  /// One line; empty: none.
  [[nodiscard]] std::string what() const {
    const std::lock_guard lock(mutex_);
    return what_;
  }

 private:
  mutable std::mutex mutex_;
  std::string what_;
};

/// Returns the option --controller. It goes with no --set, --unset or --vary of the command that a program would
/// ignore.
CLI::Option* add_controller_option(CLI::App& command, std::string& controller, std::string& hang_after);
/// What was given; of no --controller an empty one. Nothing, and one line on the standard error, if it is wrong.
std::optional<ControllerOption> read_controller(const std::string& controller, const std::string& hang_after);

/// Runs of a study with that controller, started anew for each; the scenario's own if there is none. The first trouble
/// with it is kept in `trouble`, one line.
InSeat in_seat(const ControllerOption& controller, std::shared_ptr<ControllerTrouble> trouble);

}  // namespace hopbench
