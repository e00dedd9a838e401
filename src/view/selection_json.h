// What the inspector shows, for a machine to read (docs/inspect.md).
#pragma once

#include <span>
#include <string>

#include "view/journey.h"

namespace hopbench {

/// Schema hopbench.weave/1: rows of time by hops.
std::string weave_json(const Picture& picture, Nanos from, Nanos span, std::span<const RowSlice> rows);
/// Schema hopbench.journey/1: one exchange, frame by frame.
std::string journey_json(const JourneyScene& scene);

}  // namespace hopbench
