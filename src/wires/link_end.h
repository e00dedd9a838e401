// A station as a wire knows it: the end of a link. The wire hands over what was heard, and asks whether the station was
// on, how its clock goes, and whether it passes frames on while they come in.
#pragma once

#include <cstdint>
#include <vector>

#include "base/time.h"
#include "bus/decoder.h"
#include "line/coupling.h"
#include "scenario/description.h"
#include "scenario/link_table.h"
#include "seen/symptom.h"

namespace hopbench {

class Processor;
struct Flight;

/// The defaults are those of a station that is always on and always awake, and sends nothing on.
class LinkEnd {
 public:
  /// Something was heard over `link`. `flight`: the transmission that its last character came in; null if that is
  /// forgotten already.
  virtual void heard(Nanos now, std::uint16_t link, const Finding& finding, Symptom symptom, const Flight* flight) = 0;

  /// The node that it is; nobody if it is a controller.
  [[nodiscard]] virtual std::uint16_t node() const { return nobody; }
  /// One bit by its clock.
  [[nodiscard]] virtual Period period() const = 0;
  /// What else its processor has to do; null if nothing is known of one.
  [[nodiscard]] virtual const Processor* processor() const { return nullptr; }

  /// Without supply, in reset or starting up.
  [[nodiscard]] virtual bool off_in(Nanos /*from*/, Nanos /*to*/) const { return false; }
  [[nodiscard]] bool off_at(Nanos at) const { return off_in(at, at + 1); }
  /// Start of the first time off within [from, to); `to` if there is none.
  [[nodiscard]] virtual Nanos first_off_in(Nanos /*from*/, Nanos to) const { return to; }
  /// Why it is off in [from, to): for a fault of the scenario, `injected`.
  [[nodiscard]] virtual Cause off_because(Nanos /*from*/, Nanos /*to*/, Cause injected) const { return injected; }
  /// Without power, what it sends on is held low.
  [[nodiscard]] virtual bool holds_line() const { return false; }
  /// Appends an edge train for each edge of its chopped bleeds.
  virtual void bleed_edges(std::vector<PulseTrain>& /*trains*/) const {}

  /// Whether it can fall asleep; something that begins to arrive at `at` finds it so; edges came in until `at`.
  [[nodiscard]] virtual bool ever_sleeps() const { return false; }
  [[nodiscard]] virtual bool sleeps_at(Nanos /*at*/) const { return false; }
  virtual void heard_edges(Nanos /*at*/) {}
  /// From the edge that wakes it to the first character that it gets.
  [[nodiscard]] virtual Nanos wake_up() const { return 0; }

  /// How it passes frames on while they come in; null if it does not.
  [[nodiscard]] virtual const ForwardingSpec* passing() const { return nullptr; }
  /// Whether a frame goes no further than here, as far as its head tells.
  [[nodiscard]] virtual bool takes_off(const Frame& /*frame*/, std::uint16_t /*link*/) const { return true; }
  [[nodiscard]] virtual bool passes_bad_heads() const { return false; }

 protected:
  ~LinkEnd() = default;
};

}  // namespace hopbench
