// Runs a recorded session at a port again, in virtual time.
#pragma once

#include <string>

#include "chain/chain.h"
#include "cli/capture_options.h"
#include "cli/commands.h"

namespace hopbench {

struct AgainOptions {
  std::string from;  // the capture
  CaptureOptions capture;
  bool json = false;
  bool all = false;
  Way way = Way::events;
};

/// Gives the chain in the capture the bytes that came then, at the times when they came. The same exchanges come about,
/// record for record. Prints the summary.
ExitCode emulate_again(const AgainOptions& options);

}  // namespace hopbench
