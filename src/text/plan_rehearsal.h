// Everything that the controller asks, rehearsed, with its place in the text. Inner part of src/text.
#pragma once

#include <string>
#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "scenario/rehearsal.h"
#include "text/outline.h"

namespace hopbench {

struct Rehearsed {
  PlanEntry entry;
  Spot spot;         // of the poll, of enrolment, of balancing
  std::string from;  // name of the poll; "enrolment" and "balancing" for what these ask
  Rehearsal how;     // as well as it ever goes; with all that is misread at any time
};

/// `root`: the scenario's spot; `entry_spots`: of the polls that the plan's entries come from. Offers of addresses and
/// orders to bleed are among it if the controller ever makes them; an order is for all cells that can be bled.
std::vector<Rehearsed> rehearse_all(const Protocol& protocol, const ChainDescription& chain, const Spot& root,
                                    const std::vector<Spot>& entry_spots);

}  // namespace hopbench
