// Where a record lies in time.
#pragma once

#include <optional>

#include "record/records.h"

namespace hopbench {

/// When the record took its place in the order of time: exchanges when they were closed, tallies when they end. None
/// for other kinds: they go with what comes before them.
std::optional<Nanos> time_of(const Record& record);

/// First and last instant that it tells of; none for what is not about the run's time.
std::optional<Nanos> begins_at(const Record& record);
std::optional<Nanos> ends_at(const Record& record);

}  // namespace hopbench
