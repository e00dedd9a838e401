// What disturbs one link: bit noise, bursts, a loose contact, an open cable. A screen may say "surely clean"; in every
// other case strike() says what happens to the levels, and real bytes go through the real receiver.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "base/luck.h"
#include "base/noise_field.h"
#include "base/time.h"
#include "line/coupling.h"
#include "line/identity.h"
#include "line/levels.h"
#include "line/noise_rows.h"
#include "line/signal.h"
#include "line/sojourn.h"
#include "line/spec.h"

namespace hopbench {

/// What struck a transmission, for the truth: each source once, and the first slot that noise hit.
struct Strikes {
  bool noise = false;
  bool burst = false;
  bool contact = false;
  bool open = false;
  bool charger = false;
  bool bleed_edge = false;
  std::uint32_t first_slot = 0xffffffff;
  [[nodiscard]] bool any() const { return noise || burst || contact || open || charger || bleed_edge; }
};

class Conditions {
 public:
  /// `name`: of the link (station at its far end, and direction), names its luck. `start`: when the run begins.
  Conditions(const LinkSpec& spec, const Luck& luck, const std::string& name, Nanos start);

  /// True only if nothing of this link can touch a transmission that arrives with `timing`, whatever it says.
  [[nodiscard]] bool surely_clean(const FrameKey& key, const Timing& timing, std::uint32_t slots);

  /// What goes on beside the line from now on: whether the charger charges, and the edges of the bleeds at both ends.
  void set_surroundings(bool charging, const std::vector<PulseTrain>& bleed_edges);

  /// As long as nothing changes beside the line: first turn from key.turn on in which bit noise strikes one of the
  /// first `slots` of a frame of this name, or a turn up to which it surely does not.
  [[nodiscard]] std::uint64_t clear_until(const FrameKey& key, std::uint32_t slots);
  /// Nothing but bit noise can touch a transmission between `now` and this instant (which is `now` itself if something
  /// may be going on already).
  [[nodiscard]] Nanos calm_until(Nanos now);

  /// Slots that noise turns over, in rising order, from `first_slot` of the frame on (a frame may come in pieces).
  void noise(const FrameKey& key, const Timing& timing, std::uint32_t slots, std::uint32_t first_slot,
             std::vector<std::uint32_t>& inverted, Strikes& strikes);
  /// What contact and cable do to the levels between start and end of the transmission.
  void cuts(const Timing& timing, Levels& levels, Strikes& strikes);

  /// Whether what goes on beside the line can strike here at all.
  [[nodiscard]] bool has_couplings() const { return !charger_.empty() || !bleeds_.empty(); }
  [[nodiscard]] const LinkSpec& spec() const { return spec_; }

  /// Where bursts and contact stand. What goes on beside the line is for set_surroundings() to say.
  void keep(Archive& archive, Nanos now) {
    bursts_.keep(archive, now);
    contact_.keep(archive, now);
  }

 private:
  [[nodiscard]] bool cut_in(Nanos from, Nanos to);

  LinkSpec spec_;
  std::uint64_t hash_;
  Rate bad_rate_;
  NoiseRows base_;
  std::vector<Coupling> charger_;  // at line and at switching frequency; only those that are stated
  std::vector<Coupling> bleeds_;   // at most one
  Sojourns bursts_;
  Sojourns contact_;
};

}  // namespace hopbench
