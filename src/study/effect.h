// Whether a case's failures go with a condition.
#pragma once

#include "judge/trend.h"
#include "study/cases.h"

namespace hopbench {

/// A condition by itself and at equal others.
struct Effect {
  Trend alone;
  Trend at_equal;           // charge for balancing, balancing for charge, both for the others
  bool unknown = false;     // there is nothing healthy to compare with
  bool not_told = false;    // nobody told the condition
  bool never_held = false;  // told, and none of it at any time
  /// Failures close together on a link count once. Of those at a time when it was told, so many were while there was
  /// none of it; both weigh no more than blocks of time that have any.
  double episodes = 0;
  double without = 0;
  double tries_without = 0;  // share of the tries at a time when it was told

  /// It goes with failures, and does not only move together with the other one.
  [[nodiscard]] bool holds() const { return is_rise(at_equal); }
  /// Seen alone; at equal others it was not to be tested.
  [[nodiscard]] bool unparted() const { return rises() && !at_equal.tested; }
  [[nodiscard]] bool rises() const { return is_rise(alone); }

 private:
  /// Beyond chance, and enough to matter: what is asked, and so how long frames are, changes a little with conditions.
  /// What is many times as frequent need not be quite as sure.
  static bool is_rise(const Trend& trend) {
    if (!trend.tested || trend.t <= 0) return false;
    return (trend.p < 0.001 && trend.ratio > 1.5) || (trend.p < 0.01 && trend.ratio > 3);
  }
};

Effect effect_of(const Evidence& evidence, const Case& which, Condition condition);

}  // namespace hopbench
