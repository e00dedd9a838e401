// The smallest scenario that still does it: delta debugging (Zeller and Hildebrandt, Simplifying and Isolating
// Failure-Inducing Input, IEEE Transactions on Software Engineering 28, 2002) over what a scenario states, and over the
// length of the run. All runs are on the same luck.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "base/time.h"
#include "study/in_seat.h"
#include "study/property.h"
#include "text/scenario.h"

namespace hopbench {

/// A part of a list: a mark for each element, true where it is kept.
using Marks = std::vector<bool>;
/// Which of the candidates is the first that still does it; none if none does, or after a stop.
using FirstThatHolds = std::function<std::optional<std::size_t>(const std::vector<Marks>& candidates)>;

/// The list without as many elements as possible that still does it: minimising delta debugging. All kept must do it.
/// In the end it does it, and with no single further element taken away (unless `stop` said so).
Marks smallest(std::size_t size, const FirstThatHolds& first, const std::function<bool()>& stop);

struct ShrinkPlan {
  std::uint64_t seed = 1;
  Nanos span = 0;        // length of the first run
  unsigned threads = 1;  // runs at the same time; the result does not depend on it
  Property property;
  InSeat in_seat;  // a run that begins later is then not tried: what a program has in hand cannot be stated
};

struct Shrunk {
  enum class End : std::uint8_t {
    done,
    stopped,      // the result holds, but more might be left out
    never_held,   // the property does not hold for the scenario as it is
    cannot_name,  // "on hop" in a chain where a hop leads into several stations
    misfit,       // the property names something that the scenario does not have
  };
  End end = End::done;
  std::string why;         // for misfit
  std::string text;        // of the scenario; load_scenario() takes it with the same buses
  Nanos begins_after = 0;  // 0: at the beginning of everything
  Nanos run_for = 0;
  std::uint64_t exchanges = 0;       // asked in it
  std::uint64_t runs = 0;            // that it took, those not counted that were made ahead of time for nothing
  std::vector<std::string> removed;  // in the order of the scenario
  std::vector<std::string> kept;
};

/// `stop` is asked from any thread. `progress` is told by the calling one how many units are left, now and then; may be
/// empty.
Shrunk shrink(const Scenario& scenario, ShrinkPlan plan, const std::function<bool()>& stop,
              const std::function<void(std::size_t units, Nanos span)>& progress);

}  // namespace hopbench
