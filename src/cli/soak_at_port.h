// A soak test in real time: the simulated chain at a port, with a real controller.
#pragma once

#include <cstdint>

#include "cli/soak_desk.h"

namespace hopbench {

/// From the beginning, or from where `desk` was taken up. A port that is gone is opened again as soon as it can be had;
/// that time, and the time between a resumed soak and the one before, is a gap in which nothing counts.
ExitCode soak_at_port(SoakDesk& desk);

}  // namespace hopbench
