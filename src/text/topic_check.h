// Names of topics in a scenario's text. Inner part of src/text.
#pragma once

#include <string>

#include "bus/description.h"
#include "text/outline.h"

namespace hopbench {

/// Tells if a topic is not on the bus. `bus` may be null where it could not be loaded.
void check_topic(const Spot& spot, const std::string& topic, const BusDescription* bus);

}  // namespace hopbench
