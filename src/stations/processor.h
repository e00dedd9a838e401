// What else a station's processor has to do: duties that come round and take their time. While one goes on, nothing
// else is begun; if it masks interrupts, not even characters are fetched from the receiver, and what does not fit its
// FIFO is gone. When a duty comes and how long it takes is a pure function of the station's name, the duty's, and how
// many cells are bled.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "base/luck.h"
#include "base/time.h"
#include "line/sojourn.h"
#include "scenario/description.h"

namespace hopbench {

class Processor {
 public:
  Processor(const ProcessorSpec& spec, const Luck& luck, std::uint64_t station_hash);

  [[nodiscard]] bool idle() const { return duties_.empty(); }
  /// Cells being bled from now on.
  void set_bleeding(std::uint32_t cells);

  /// The first instant at or after `at` at which it has nothing else to do.
  [[nodiscard]] Nanos free_at(Nanos at) const;
  /// From `now` until this instant it surely has nothing to do; `now` itself if it may have.
  [[nodiscard]] Nanos calm_until(Nanos now) const;

  /// Of characters that end at these instants (in rising order), the numbers of those that are gone for want of room.
  /// Appends to `lost`, in rising order.
  void unfetched(std::span<const Nanos> ends, std::vector<std::uint32_t>& lost) const;

  /// Instants in [from, to) at which the watchdog loses its patience: a duty has taken that long.
  void watchdog_in(Nanos from, Nanos to, std::vector<Nanos>& bites) const;
  [[nodiscard]] bool has_watchdog() const { return watchdog_ > 0 && !duties_.empty(); }

 private:
  struct Duty {
    DutySpec spec;
    Nanos phase = 0;
    StreamKey length;
    StreamKey jitter;
    bool runs = false;  // it takes any time at all at present
  };
  [[nodiscard]] Nanos longest(const Duty& duty) const;
  [[nodiscard]] Interval run_of(const Duty& duty, std::int64_t n) const;
  /// The first run of the duty that ends after `at`.
  [[nodiscard]] Interval after(const Duty& duty, Nanos at, std::int64_t* number = nullptr) const;

  std::vector<Duty> duties_;
  std::uint32_t fifo_chars_;
  Nanos watchdog_;
  std::uint32_t bleeding_ = 0;
};

}  // namespace hopbench
