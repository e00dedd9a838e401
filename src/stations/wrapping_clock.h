// The clock by which a controller times its waiting, if it goes round and the controller does not know: a deadline that
// lies beyond its end is a small number, which it is past already.
#pragma once

#include "base/time.h"
#include "scenario/description.h"

namespace hopbench {

class WrappingClock {
 public:
  WrappingClock(const WrapSpec& spec, Nanos time_out) : spec_(spec), time_out_(time_out) {}

  [[nodiscard]] bool ever() const { return spec_.bits != 0; }
  /// It goes round within a time-out that begins at `at`.
  [[nodiscard]] bool within_time_out(Nanos at) const;
  /// No time-out that begins between `now` and this instant is cut short; `now` itself if one may be.
  [[nodiscard]] Nanos calm_until(Nanos now) const;

 private:
  [[nodiscard]] std::uint64_t modulus() const { return std::uint64_t{1} << spec_.bits; }
  [[nodiscard]] std::uint64_t ticks_at(Nanos at) const;
  [[nodiscard]] std::uint64_t time_out_ticks() const { return static_cast<std::uint64_t>(time_out_ / spec_.tick); }

  WrapSpec spec_;
  Nanos time_out_;
};

}  // namespace hopbench
