// What of a run was real, and the words for it. Every result says so in its first sentence: what a simulation shows is
// about the model.
#pragma once

#include <cstdint>
#include <string_view>

#include "seen/observation.h"

namespace hopbench {

enum class Reality : std::uint8_t {
  simulated,        // chain and controller, in virtual time
  simulated_chain,  // the nodes and their hops; a real controller talked to them through a port
  real_chain,       // no node and no hop was simulated
};

/// `run` as the capture tells it. Not what AtController makes of it: that hides that hops were simulated.
Reality reality_of(const RunInfo& run);

constexpr bool anything_simulated(Reality reality) { return reality != Reality::real_chain; }

/// For machines: "simulated_chain".
std::string_view name_of(Reality reality);
/// At the beginning of a result: "Simulated chain, real controller".
std::string_view at_top(Reality reality);
/// The same within a sentence: "simulated chain, real controller".
std::string_view in_passing(Reality reality);
/// Where there is little room: "simulated chain".
std::string_view in_short(Reality reality);
/// The caution that goes with a result, one sentence; empty for a real chain.
std::string_view caution_of(Reality reality);

}  // namespace hopbench
