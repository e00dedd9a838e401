// Whether somebody set the computer's clock, or the computer slept, while a test in real time went on. Reads no clock.
#pragma once

#include <cstdint>
#include <optional>

#include "base/archive.h"
#include "base/time.h"

namespace hopbench {

/// At one instant.
struct ClockReading {
  Nanos wall = 0;         // since 1970; can be set
  Nanos steady = 0;       // since the computer was started, without the time that it slept
  Nanos since_start = 0;  // the same with it
};

/// What there was of it so far. The run goes by the steady clock, so that nothing of this moves its times.
struct ClockCounts {
  std::uint64_t sets = 0;    // times that the clock was set
  Nanos set_by = 0;          // all together, forward; each as much as it was noticed by
  std::uint64_t sleeps = 0;  // times that the computer slept
  Nanos slept = 0;
  void keep(Archive& archive);
  friend bool operator==(const ClockCounts&, const ClockCounts&) = default;
};

/// Looks at it a few times a second: less than a tenth of a second between two looks is how clocks are kept right.
class ClockWatch {
 public:
  explicit ClockWatch(const ClockReading& now) : last_(now) {}
  struct Event {
    Nanos set_by = 0;  // 0: it was not set
    Nanos slept = 0;
  };
  /// What happened since the look before; none if nothing did.
  std::optional<Event> look(const ClockReading& now);

 private:
  ClockReading last_;
};

}  // namespace hopbench
