// Why an answer came too late, or was not the right one.
#pragma once

#include <span>

#include "base/time.h"
#include "books/passport.h"
#include "scenario/description.h"

namespace hopbench {

/// What a fault of this class is the cause of.
Cause cause_of(FaultClass kind);

/// The fault that altered a frame, or sent it again.
Blame forged(const Passport& passport, std::span<const FaultSpec> faults);

/// Of an answer with these holdups, `late_by` past the controller's time-out. What would have sufficed by itself to
/// make it late, since without it it would not have been; if several would, or only several together, the longest of
/// them. Cause::chain_time if all of them together would not. `node`: who was asked.
Blame late_blame(const Holdups& holdups, Nanos late_by, std::uint16_t node, std::span<const FaultSpec> faults);

}  // namespace hopbench
