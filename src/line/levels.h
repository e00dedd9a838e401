// The level of a line over time: high (idle) until the first toggle, then changing at each.
#pragma once

#include <span>
#include <vector>

#include "base/time.h"

namespace hopbench {

/// Instants in rising order at which a line changes level.
class Levels {
 public:
  void clear() { toggles_.clear(); }
  /// Appends a change at `at`, not before the last one. Two changes at one instant cancel.
  void toggle(Nanos at);
  /// Level just after `at`; true is high.
  [[nodiscard]] bool at(Nanos at) const;
  /// Level just after the last toggle.
  [[nodiscard]] bool last() const { return toggles_.size() % 2 == 0; }
  /// Holds the line at `high` in [from, to), whatever it did before.
  void force(Nanos from, Nanos to, bool high);
  /// Turns the line over in [from, to).
  void invert(Nanos from, Nanos to);
  /// Takes away all toggles before `from`; the level at `from` must be high.
  void forget_before(Nanos from);
  void shift(Nanos by);
  /// Makes each low level longer by `by` at its end; shorter if negative. Levels that vanish, vanish.
  void stretch_lows(Nanos by);

  [[nodiscard]] std::span<const Nanos> toggles() const { return toggles_; }

 private:
  std::vector<Nanos> toggles_;
};

}  // namespace hopbench
