// Whether a computer that was late may have decided what became of an exchange.
#pragma once

#include <cstdint>
#include <optional>

#include "seen/observation.h"

namespace hopbench {

/// A real controller sees an answer later by what the port was late by; an ask is read later than it was sent by that.
/// With a known `time_out` (from the end of the ask): an answer that was in time by less than that may have come too
/// late, and anything but an answer at the first try may be the port's doing if it was late by a millisecond. Without:
/// an answer at the first try is in doubt if the port was late by 10 ms.
bool lateness_may_decide(const ExchangeObs& exchange, std::optional<Nanos> time_out);

/// The same, where it is known why tries came to nothing: not if each of them has a reason of the chain's own, which
/// would have held with a computer that was in time as well, and the answer, if there is one, was in time all the same.
/// So nothing that failed is left out more readily than what did not. `home`: the link into the controller.
bool lateness_decided(const ExchangeObs& exchange, const ExchangeTruth& truth, std::optional<Nanos> time_out,
                      std::uint16_t home);

}  // namespace hopbench
