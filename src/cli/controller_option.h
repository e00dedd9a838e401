// --controller and --hang-after: a program in the controller's seat, in virtual time.
#pragma once

#include <CLI/CLI.hpp>
#include <chrono>
#include <memory>
#include <optional>
#include <string>

#include "port/granted_run.h"
#include "study/in_seat.h"

namespace hopbench {

struct ControllerOption {
  ControllerAt at;
  std::chrono::milliseconds hang_after{0};
};

/// Returns the option --controller.
CLI::Option* add_controller_option(CLI::App& command, std::string& controller, std::string& hang_after);
/// What was given; of no --controller an empty one. Nothing, and one line on the standard error, if it is wrong.
std::optional<ControllerOption> read_controller(const std::string& controller, const std::string& hang_after);

/// Runs of a study with that controller, started anew for each; the scenario's own if there is none. The first trouble
/// with it is kept in `trouble`, one line.
InSeat in_seat(const ControllerOption& controller, std::shared_ptr<std::string> trouble);

}  // namespace hopbench
