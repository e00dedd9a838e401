// Why an answer came too late.
#pragma once

#include "base/time.h"
#include "books/passport.h"
#include "wires/injector.h"

namespace hopbench {

/// Of an answer with these holdups, `late_by` past the controller's time-out. What would have sufficed by itself to make
/// it late, since without it it would not have been; if several would, or only several together, the longest of them.
/// Cause::chain_time if all of them together would not. `node`: who was asked.
Blame late_blame(const Holdups& holdups, Nanos late_by, std::uint16_t node, const Injector& injector);

}  // namespace hopbench
