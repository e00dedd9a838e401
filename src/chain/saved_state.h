// What stands around a saved state: what it is, of which version, of which scenario and seed, and a check.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "bus/description.h"
#include "scenario/description.h"

namespace hopbench {

/// Of all that bears on how a chain goes on. What a run is called after, and how long one is unless told otherwise,
/// does not; nor does the seed that a scenario states, for a run may have another.
std::uint64_t fingerprint(const BusDescription& bus, const ChainDescription& chain);

struct StateHead {
  std::uint64_t scenario = 0;  // its fingerprint
  std::uint64_t seed = 0;
};

/// What a state is of. Its version goes up when what is kept, or what it means, changes.
struct StateKind {
  std::array<std::uint8_t, 4> magic;
  std::uint32_t version;
};
inline constexpr StateKind state_of_chain{{'h', 'b', 's', 't'}, 4};

/// The state with all of that around it.
std::vector<std::uint8_t> wrap_state(const StateKind& kind, const StateHead& head, std::span<const std::uint8_t> state);
/// The state in `bytes`, if it is one of this kind that belongs to this head. If not, nothing, and `why`.
std::span<const std::uint8_t> unwrap_state(const StateKind& kind, const StateHead& head,
                                           std::span<const std::uint8_t> bytes, std::string& why);

}  // namespace hopbench
