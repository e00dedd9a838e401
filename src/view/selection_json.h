// What the inspector shows, for a machine to read (docs/inspect.md).
#pragma once

#include <span>
#include <string>

#include "view/journey.h"

namespace hopbench {

/// Schema hopbench.map/1: columns of time by hops and stations.
std::string map_json(const Picture& picture, Nanos from, Nanos span, std::span<const TimeColumn> columns);
/// Schema hopbench.journey/1: one exchange, frame by frame.
std::string journey_json(const JourneyScene& scene);

}  // namespace hopbench
