// Whether a computer that was late may have decided what became of an exchange.
#pragma once

#include <optional>

#include "seen/observation.h"

namespace hopbench {

/// A real controller sees an answer later by what the port was late by; an ask is read later than it was sent by that.
/// With a known `time_out` (from the end of the ask): an answer that was in time by less than that may have come too
/// late, and anything but an answer at the first try may be the port's doing if it was late by a millisecond. Without:
/// an answer at the first try is in doubt if the port was late by 10 ms.
bool lateness_may_decide(const ExchangeObs& exchange, std::optional<Nanos> time_out);

}  // namespace hopbench
