// The line as data: clocks, receivers, and what disturbs a link. Spans are nanoseconds, probabilities are parts per
// 1e15 (integers, so that nothing is rounded differently on another machine).
#pragma once

#include <cstdint>
#include <vector>

#include "base/time.h"

namespace hopbench {

/// A probability in parts of 1e15.
using Ppq = std::uint64_t;
inline constexpr Ppq certain = 1'000'000'000'000'000;

/// Clock that a station sends and receives by. Actual baud = nominal x divisor error x (1 + error + trim).
struct ClockSpec {
  std::int64_t error_ppb = 0;       // fast is positive
  std::int64_t spread_ppb = 0;      // a trim drawn once per node, uniform in +-spread
  std::uint64_t oscillator_hz = 0;  // 0: the baud rate is met exactly
  std::uint32_t oversampling = 16;  // oscillator clocks per bit are divisor * oversampling
  std::uint32_t divisor = 0;        // 0: the nearest
  friend bool operator==(const ClockSpec&, const ClockSpec&) = default;
};

/// How a station samples a bit. Published receivers use 16 or 8 samples and vote over the middle three.
struct ReceiverSpec {
  std::uint32_t oversampling = 16;  // 4..64
  std::uint32_t first_vote = 8;     // number of the first voting sample, the sample that saw the edge being 1
  std::uint32_t votes = 3;          // 1 or 3
  friend bool operator==(const ReceiverSpec&, const ReceiverSpec&) = default;
};

/// Two-state bursts in continuous time (Gilbert 1960, Elliott 1963): sojourns are exponential, bits are hit at the
/// probability of the state that holds.
struct BurstSpec {
  Nanos mean_good = 0;  // 0: no bursts
  Nanos mean_bad = 0;
  Ppq bad_bit_error = certain / 2;
  friend bool operator==(const BurstSpec&, const BurstSpec&) = default;
};

/// A contact that opens now and then. While open the far end hears an idle line, or a held one (break).
struct ContactSpec {
  Nanos mean_between = 0;  // 0: a sound contact
  Nanos mean_open = 0;
  bool reads_low = false;
  friend bool operator==(const ContactSpec&, const ContactSpec&) = default;
};

struct OpenSpec {
  Nanos from = 0;
  Nanos to = never;
  bool reads_low = false;
  friend bool operator==(const OpenSpec&, const OpenSpec&) = default;
};

/// Ripple of a charger, while it charges: in every period a window in which bits may be damaged. Line frequency and
/// switching frequency apart.
struct RippleSpec {
  Nanos period = 10 * millisecond;  // two humps for each period of a 50 Hz line
  Nanos window = 0;                 // 0: no ripple
  Ppq bit_error = 0;                // of a bit within the window
  std::int64_t wander_ppb = 0;      // its frequency is off by up to this, by another share every `wander_every`
  Nanos wander_every = 300 * second;
  friend bool operator==(const RippleSpec&, const RippleSpec&) = default;
};

/// Edges of chopped bleeds of the nodes at both ends, while they bleed: after each edge a window in which bits may be
/// damaged.
struct BleedEdgeSpec {
  Nanos window = 0;   // 0: no coupling
  Ppq bit_error = 0;  // of a bit within the window of one edge; edges that coincide add up
  friend bool operator==(const BleedEdgeSpec&, const BleedEdgeSpec&) = default;
};

/// The line of one link (one direction of one hop).
struct LinkSpec {
  Nanos isolator_delay = 0;
  Ppq bit_error = 0;
  BurstSpec burst;
  ContactSpec contact;
  std::vector<OpenSpec> opens;
  Nanos pulse_stretch = 0;  // by which the isolator makes low levels longer; negative: shorter
  RippleSpec line_ripple;
  RippleSpec switching_ripple;
  BleedEdgeSpec bleed_edge;
  friend bool operator==(const LinkSpec&, const LinkSpec&) = default;
};

}  // namespace hopbench
