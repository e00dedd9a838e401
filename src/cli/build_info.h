// What made a capture, for its build record.
#pragma once

#include "base/time.h"
#include "record/records.h"

namespace hopbench {

/// Now, since 1970, UTC.
Nanos wall_clock_now();

/// This program and compiler; `wall_start` and the name of the computer for a session in real time. With 0 both stay
/// empty, so that the same run in virtual time makes the same capture on any computer.
BuildInfo this_build(Nanos wall_start);

}  // namespace hopbench
