// The controller and its plan from a scenario's message. Inner part of src/text.
#pragma once

#include <string>
#include <vector>

#include "bus/description.h"
#include "scenario.pb.h"
#include "scenario/description.h"
#include "text/outline.h"

namespace hopbench {

/// Most entries of a plan.
inline constexpr std::size_t max_entries = 10'000;

/// Name of the controller, checked.
std::string controller_name(const text::Scenario& scenario, const Spot& spot);

/// The controller, and for each entry of its plan the poll in the text that it comes from.
struct LoadedController {
  ControllerSpec spec;
  std::vector<Spot> entry_spots;
};
/// Needs the chain's nodes and kinds.
LoadedController controller_from(const text::Controller& controller, const Spot& spot, const ChainDescription& chain,
                                 const BusDescription* bus);

}  // namespace hopbench
