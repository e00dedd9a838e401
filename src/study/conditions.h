// What held around the frames, as far as a study may know it: as a simulation states it, or as it was told in the
// traffic.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <optional>
#include <span>

#include "seen/observation.h"
#include "study/condition.h"

namespace hopbench {

struct NodeConditions {
  std::optional<std::int32_t> board_mc;  // thousandths of a degree Celsius
  std::optional<std::int32_t> supply_mv;
  std::optional<bool> off;  // off or starting up
};

/// Whether a bus has anything that tells a quantity, whoever asks for it.
enum class Tellable : std::uint8_t { no, yes, not_known };

/// Where what is known of one condition comes from.
struct Source {
  Nanos oldest = 0;         // instant of the oldest value that it was made from
  std::uint16_t nodes = 0;  // that have told
  Tellable tellable = Tellable::not_known;
};

/// Those of Condition that are told: balancing, charge, temperature, supply, in this order.
inline constexpr std::size_t told_count = 4;
static_assert(static_cast<std::size_t>(Condition::supply) + 1 == told_count);

/// In force from `at` on, until the next. What nobody told is unknown.
struct ConditionValues {
  Nanos at = 0;
  bool as_told = false;  // read from the traffic, and as old as `sources` say; else in force at `at`
  std::optional<std::uint32_t> cells_balancing;
  std::optional<std::int32_t> charge_ma;  // negative: discharge
  std::span<const NodeConditions> nodes;  // as RunInfo.nodes
  std::array<Source, told_count> sources{};
};

/// What is known of a condition, over the exchanges that were looked at.
struct Known {
  std::uint64_t exchanges = 0;  // for which it was known
  Nanos oldest = 0;             // as told: the largest age of a value that one of them was sorted by
  std::uint16_t nodes = 0;      // that told it, at most
  Tellable tellable = Tellable::not_known;

  void count(const Source& source, Nanos at) {
    ++exchanges;
    oldest = std::max(oldest, at - source.oldest);
    nodes = std::max(nodes, source.nodes);
  }
};

/// A state that a simulation told; `nodes`: its nodes.
inline ConditionValues in_force(const State& state, std::span<const NodeConditions> nodes) {
  ConditionValues conditions;
  conditions.at = state.at;
  conditions.cells_balancing = state.cells_balancing;
  conditions.charge_ma = state.charge_ma;
  conditions.nodes = nodes;
  for (Source& source : conditions.sources) {
    source = {state.at, static_cast<std::uint16_t>(nodes.size()), Tellable::yes};
  }
  return conditions;
}

}  // namespace hopbench
