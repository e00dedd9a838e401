// What is sound enough to be computed with, and yet cannot work on a wire.
#pragma once

#include <string>
#include <vector>

#include "bus/description.h"

namespace hopbench {

struct Misfit {
  std::string part;    // dotted path of the culprit, as in Protocol::Fault
  std::string what;    // one line: what is wrong and what would be right
  bool surely = true;  // false: some frames get through, or all on a real chain
};

/// Characters that have no room for what they should carry, content that looks like a marker, fields that forwarding or
/// a mark spoils, answers that nothing fills. The description must have no faults (Protocol::faults_of).
std::vector<Misfit> misfits_of(const BusDescription& bus);

}  // namespace hopbench
