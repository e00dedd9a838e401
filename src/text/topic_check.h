// Names of topics in a scenario's text. Inner part of src/text.
#pragma once

#include <string>
#include <vector>

#include "bus/description.h"
#include "text/outline.h"

namespace hopbench {

/// Tells if a topic is not on the bus. `bus` may be null where it could not be loaded.
/// Only topics `among` these are suggested; any if there are none.
void check_topic(const Spot& spot, const std::string& topic, const BusDescription* bus,
                 const std::vector<std::string>& among = {});

}  // namespace hopbench
