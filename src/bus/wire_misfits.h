// Frames that the characters of the line, or the markers around them, do not let through. Inner part of misfits_of.
#pragma once

#include <vector>

#include "bus/misfits.h"

namespace hopbench {

/// Bits beyond the line's data bits.
void check_characters(const BusDescription& bus, std::vector<Misfit>& misfits);
/// Content of marked frames that can look like the marker which ends them.
void check_markers(const BusDescription& bus, std::vector<Misfit>& misfits);

}  // namespace hopbench
