// What was asked of a soak test, how far it has come, and the bytes in which both are kept.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "base/time.h"
#include "chain/saved_state.h"
#include "cli/port_options.h"
#include "scenario/description.h"
#include "seen/observation.h"
#include "soak/clock_watch.h"
#include "soak/soak.h"
#include "text/scenario.h"

namespace hopbench {

/// Where a soak in real time stands. All of it is kept in the folder's state.
struct SoakAtPort {
  PortOptions port;        // no place: it is not in real time
  Nanos at = 0;            // of the run's clock, when it was saved
  Nanos wall = 0;          // of the computer's, since 1970, then
  std::uint32_t file = 1;  // the first of the captures that hold what is not in the state
  StartSpec standing;      // the chain, then
  ClockCounts clock;
  Lateness lateness;

  [[nodiscard]] bool any() const { return port.places() > 0; }
};

/// What was asked for, and how far it has come. All but the scenario is kept in the folder's state.
struct SoakJob {
  Scenario scenario;  // seed and length are those of the run
  Nanos start = 0;
  Nanos until = 0;
  bool full = false;
  std::uint32_t resumed = 0;
  std::uint64_t most_bytes = 0;  // of captures
  std::string controller;        // as it was given; empty: the scenario's own
  std::string hang_after;
  SoakAtPort at_port;
  std::vector<std::uint8_t> state;  // of the chain in virtual time; empty: from the beginning

  SoakJob(Scenario what, std::uint64_t bytes);
};

/// Its version goes up when what is kept of a soak, or what that means, changes.
inline constexpr StateKind state_of_soak{{'h', 'b', 's', 'k'}, 1};
StateHead head_of(const SoakJob& job);

/// `next_detail`: number of the detail capture that comes next.
std::vector<std::uint8_t> soak_state(SoakJob& job, Soak& soak, std::uint32_t next_detail);
/// Puts back what soak_state() took down, into a job and a soak of the same scenario. Empty, or why it cannot be: both
/// are of no use then.
std::string take_up_soak(std::span<const std::uint8_t> bytes, SoakJob& job, Soak& soak, std::uint32_t& next_detail);

}  // namespace hopbench
