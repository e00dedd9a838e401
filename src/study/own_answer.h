// The answer of an exchange, decoded, if it is its ask's own.
#pragma once

#include <cstdint>
#include <span>

#include "bus/protocol.h"
#include "seen/observation.h"

namespace hopbench {

/// Content as it was heard at the controller. Where frames do not say what they are it is taken for an answer.
bool read_answer(const Protocol& protocol, std::span<const std::uint8_t> content, Frame& answer);

/// Whether the exchange holds an answer to `ask` that is nobody else's, taken by the controller or come too late for
/// it.
bool own_answer(const Protocol& protocol, const ExchangeObs& obs, const Frame& ask, Frame& answer);

}  // namespace hopbench
