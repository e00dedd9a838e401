// How long a pty itself takes from one side to the other.
#pragma once

#include "port/byte_port.h"

namespace hopbench {

/// Sends single bytes through an idle pty to its client side and waits for each. The kernel hands them over in a worker
/// of ordinary priority, so the figures grow when the computer is busy. Takes 0.1 s, 0.3 s at most; 0 if too few came
/// through. Nobody else may have the pty open.
PortDelay measure_pty_delay(int master, int client);

}  // namespace hopbench
