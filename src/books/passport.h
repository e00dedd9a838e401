// What the bench knows of a frame and no station is told: whose it is, so that luck and records can be kept by name,
// and what became of it on its way. A passport travels beside the frame; stations are compiled without this header.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>

#include "base/time.h"
#include "bus/frame.h"
#include "line/identity.h"
#include "scenario/link_table.h"
#include "seen/symptom.h"

namespace hopbench {

inline constexpr std::uint64_t no_exchange = ~std::uint64_t{0};
inline constexpr std::uint32_t no_fault = 0xffffffff;

/// Why something came to nothing.
struct Blame {
  Cause cause = Cause::none;
  std::uint16_t station = nobody;
  std::uint16_t link = nobody;
  std::uint32_t fault = no_fault;
};

/// What can hold a frame up.
enum class Holdup : std::uint8_t { busy_node, measurement, injected, clock };
inline constexpr std::size_t holdup_count = 4;

/// How much earlier a frame would be where it is if one thing that holds frames up were not there, all else being the
/// same. Each is worked out step by step along the way: without a wait a frame comes earlier to the next thing that
/// waits, so the parts need not add up.
struct Holdups {
  std::array<Nanos, holdup_count> without{};
  std::uint16_t busy_station = nobody;  // the node that was busy longest
  Nanos busy_there = 0;
  std::uint32_t fault = no_fault;  // the injected fault that held it up longest
  Nanos fault_held = 0;

  [[nodiscard]] bool any() const {
    return std::any_of(without.begin(), without.end(), [](Nanos earlier) { return earlier != 0; });
  }
  [[nodiscard]] Nanos operator[](Holdup which) const { return without[static_cast<std::size_t>(which)]; }
  Nanos& operator[](Holdup which) { return without[static_cast<std::size_t>(which)]; }
};

/// Two payloads that differ hardly ever have the same.
std::uint64_t fingerprint(const Content& payload);

struct Passport {
  FrameKey key;
  std::uint64_t exchange = no_exchange;  // number of the trace that it belongs to
  bool fake = false;                   // what it says is not what was sent: a fault altered it, or put it in another's
                                       // place, or a node made damage pass for good
  std::uint32_t forged_by = no_fault;  // the fault that did, or that sent it again
  bool inherited = false;              // known to be damaged when it was put on the link
  Nanos taken_at = never;              // when the values in it were measured; never: none were
  std::int64_t off_by_uv = 0;          // the most that a value in it is off, for the cell was bled meanwhile
  std::uint64_t said = 0;              // fingerprint of the payload of an answer, as a sound node would have sent it
  std::uint16_t flawed_by = nobody;    // the node whose design mistake made it other than it should be:
  bool unfit = false;                  // an answer that names another exchange, or that it should not have given at all
  bool outdated = false;               // an answer whose values are older than it says
  Holdups holdups;
};

}  // namespace hopbench
