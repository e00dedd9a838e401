// Noise that comes with something that goes on beside the line: the ripple of a charger, the edges of chopped bleeds.
// It couples in while pulses of it last, and each pulse that lasts at a bit adds to the chance that the bit is damaged.
#pragma once

#include <cstdint>
#include <vector>

#include "base/luck.h"
#include "base/time.h"
#include "line/identity.h"
#include "line/noise_rows.h"
#include "line/signal.h"
#include "line/spec.h"
#include "line/wander.h"

namespace hopbench {

/// Lasts while (t - phase) mod period < window.
struct PulseTrain {
  Nanos period = 1;
  Nanos phase = 0;
  Nanos window = 0;
  friend bool operator==(const PulseTrain&, const PulseTrain&) = default;
};

class Coupling {
 public:
  /// `purpose` and `link_hash` name its luck. `bit_error`: chance that a bit is damaged at which one pulse lasts; more
  /// pulses at once add up, `most` at the most. The phase of all of them wanders like `wander`.
  Coupling(const Luck& luck, std::uint64_t link_hash, Purpose purpose, Ppq bit_error, std::uint32_t most,
           const Wander& wander);

  /// What goes on from now on. None: all is quiet.
  void set(const std::vector<PulseTrain>& trains) { trains_ = trains; }
  [[nodiscard]] bool silent() const { return trains_.empty() || unit_ == 0; }

  /// As long as what goes on stays the same: first turn from key.turn on in which a frame of this name may be struck.
  [[nodiscard]] std::uint64_t clear_until(const FrameKey& key, std::uint32_t slots);
  /// Whether it strikes a frame that arrives with `timing`.
  [[nodiscard]] bool strikes(const FrameKey& key, const Timing& timing, std::uint32_t slots);
  /// Appends the slots that it strikes, counted from `first_slot` of the frame. Returns whether there were any.
  bool noise(const FrameKey& key, const Timing& timing, std::uint32_t slots, std::uint32_t first_slot,
             std::vector<std::uint32_t>& inverted);

 private:
  [[nodiscard]] std::uint32_t pulses_at(Nanos at) const;

  Rate unit_;
  std::uint32_t most_;
  Wander wander_;
  NoiseRows rows_;
  std::vector<PulseTrain> trains_;
  std::vector<std::uint32_t> struck_;  // scratch
};

}  // namespace hopbench
