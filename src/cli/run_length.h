// How long a run in virtual time is to be, as the command line or the scenario says.
#pragma once

#include <optional>
#include <string>

#include "base/time.h"
#include "scenario/description.h"

namespace hopbench {

/// What --for says; 0 if it was not given. Nothing, and one line on the standard error, if it is no duration.
std::optional<Nanos> read_for(const std::string& text);
/// `asked`, or if that is 0 as the scenario says, or an hour.
Nanos length_of_run(Nanos asked, const ChainDescription& chain);
/// Name of the plan entry that tells rounds: the first that is asked in every one. Empty if there is none.
std::string round_entry(const ChainDescription& chain);

}  // namespace hopbench
