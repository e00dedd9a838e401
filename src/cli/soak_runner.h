// Runs a soak test to its verdict: the chain, what listens to it, and what is saved on the way.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "cli/commands.h"
#include "cli/soak_directory.h"
#include "text/scenario.h"

namespace hopbench {

/// What was asked for, and how far it has come. All but the scenario is kept in the folder's state.
struct SoakJob {
  Scenario scenario;  // seed and length are those of the run
  Nanos start = 0;
  Nanos until = 0;
  bool full = false;
  std::uint32_t resumed = 0;
  std::uint64_t most_bytes = 0;  // of captures
  std::string controller;        // as it was given; empty: the scenario's own
  std::string hang_after;
  std::vector<std::uint8_t> state;  // of the chain; empty: from the beginning

  SoakJob(Scenario what, std::uint64_t bytes);
};

/// How it is looked at.
struct SoakLook {
  std::string file;      // metrics
  std::string endpoint;  // metrics; good
  Nanos save_every = 0;  // of the computer's time
  bool json = false;
};

/// Says all that there is to say. `saved`: the folder's state, if the soak goes on from one. EndSignals end it.
ExitCode run_soak(SoakJob job, const SoakLook& look, std::optional<SoakDirectory> directory,
                  std::span<const std::uint8_t> saved);

}  // namespace hopbench
