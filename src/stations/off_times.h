// When a station is off: without supply, in reset, or starting up; and why.
#pragma once

#include <vector>

#include "base/archive.h"
#include "base/time.h"
#include "line/sojourn.h"
#include "seen/symptom.h"

namespace hopbench {

class OffTimes {
 public:
  /// Off in [from, to); `to` never: until ends_at().
  void add(Nanos from, Nanos to, Cause why);
  /// What has no end yet ends at `at`, but not before it began. Returns the end; `never` if everything has one.
  Nanos ends_at(Nanos at);
  /// Nobody will ask about what was over before `at`.
  void forget_before(Nanos at);

  [[nodiscard]] bool any_in(Nanos from, Nanos to) const { return find(from, to) != nullptr; }
  /// Start of the first time off within [from, to); `to` if there is none.
  [[nodiscard]] Nanos first_in(Nanos from, Nanos to) const;
  /// Why it is off in [from, to); Cause::none if it is not.
  [[nodiscard]] Cause why_in(Nanos from, Nanos to) const;
  /// Whether the last `start_up` of some time off, in which the station starts, meets [from, to).
  [[nodiscard]] bool starts_in(Nanos from, Nanos to, Nanos start_up) const;

  void keep(Archive& archive);

 private:
  struct Off {
    Interval when;
    Cause why;
  };
  [[nodiscard]] const Off* find(Nanos from, Nanos to) const;

  std::vector<Off> times_;  // by start
};

}  // namespace hopbench
