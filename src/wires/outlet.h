// Where bytes leave the chain for a real station.
#pragma once

#include <cstdint>
#include <functional>
#include <span>

#include "base/time.h"

namespace hopbench {

/// The instant at which the last edge of each byte arrives. `flags` as in Arrival (seen/observation.h). `one_by_one`:
/// they come with pauses between them, from a node that passes characters on as they come.
using Outlet = std::function<void(std::span<const Nanos> ends, std::span<const std::uint8_t> bytes,
                                  std::span<const std::uint8_t> flags, bool one_by_one)>;

}  // namespace hopbench
