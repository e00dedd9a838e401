// Runs a soak test to its verdict: the chain, what listens to it, and what is saved on the way.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "cli/soak_desk.h"

namespace hopbench {

/// Says all that there is to say. `saved`: the folder's state, if the soak goes on from one. SIGINT, SIGTERM and SIGHUP
/// end it in good order.
ExitCode run_soak(SoakJob job, const SoakLook& look, std::optional<SoakDirectory> directory,
                  std::span<const std::uint8_t> saved);

}  // namespace hopbench
