// Why an entry of the plan cannot work, in words. Inner part of src/text.
#pragma once

#include <string>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "text/plan_rehearsal.h"

namespace hopbench {

/// What happens to an exchange that does not end well, and what would be right. `nodes`: of all that fare so.
std::string words_for(const Rehearsed& rehearsed, const std::string& nodes, const Protocol& protocol,
                      const ChainDescription& chain);

/// What becomes of a value on its way into a field.
std::string words_for(const Misread& misread, const Rehearsed& rehearsed, const ChainDescription& chain);

}  // namespace hopbench
