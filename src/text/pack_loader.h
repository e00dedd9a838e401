// The battery, its daily cycle, the air, and what stands in a kind about its board. Inner part of src/text.
#pragma once

#include "scenario.pb.h"
#include "scenario/description.h"
#include "text/outline.h"

namespace hopbench {

/// `chain`: its nodes, which taps are named by.
PackSpec pack_from(const text::Scenario& scenario, const Spot& spot, const ChainDescription& chain);
/// Where the run begins, and with what.
StartSpec start_from(const text::Begins& begins, const Spot& spot, const ChainDescription& chain);
/// From bleed, heat and supply of a kind.
BoardSpec board_from(const text::Kind& kind, const Spot& spot, std::uint32_t cells);
/// What a clock says of temperature and supply, over what stands in `board`. Returns whether it says anything.
bool read_slopes(const text::Clock& clock, const Spot& spot, BoardSpec& board);

}  // namespace hopbench
