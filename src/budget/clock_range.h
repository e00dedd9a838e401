// How quick a station's clock can be: error, divisor, trim, temperature and supply.
#pragma once

#include <cstddef>

#include "bus/protocol.h"
#include "scenario/description.h"

namespace hopbench {

/// One bit by the clock.
struct ClockRange {
  Period fastest = 1;
  Period stated = 1;  // error and divisor alone
  Period slowest = 1;
};

ClockRange clock_range(const Protocol& protocol, const ChainDescription& chain, std::uint16_t station);
/// Of a node, its own or its kind's; `nobody`: of the controller.
const ClockSpec& clock_spec(const ChainDescription& chain, std::uint16_t station);
const ReceiverSpec& receiver_spec(const ChainDescription& chain, std::uint16_t station);

/// Parts of 1e9 that bits of `period` are quicker than the bus's.
double fast_ppb(const Protocol& protocol, Period period);

}  // namespace hopbench
