#include "judge/sequential.h"

#include <cmath>

namespace hopbench {

SequentialShare::SequentialShare(const SharePlan& plan) : plan_(plan), none_(plan.acceptable <= 0) {
  const double whole = std::log((1 - plan.reject_risk) / plan.accept_risk);
  if (none_) {
    // As the acceptable share goes to 0 its ratio goes to infinity: one hit rejects, and what is left of the test is
    // how many trials without one bear out that the share is below the rejectable one.
    slope_ = -std::log1p(-plan.rejectable);
    below_ = -std::log(plan.accept_risk);
    above_ = 0;
    return;
  }
  const double p0 = plan.acceptable;
  const double p1 = plan.rejectable;
  const double k = std::log(p1 / p0) + std::log1p(-p0) - std::log1p(-p1);
  slope_ = (std::log1p(-p0) - std::log1p(-p1)) / k;
  below_ = whole / k;
  above_ = std::log((1 - plan.accept_risk) / plan.reject_risk) / k;
}

Ruling SequentialShare::decide(double hits, double trials) const {
  if (none_) {
    if (hits > 0) return Ruling::rejected;
    return slope_ * trials >= below_ ? Ruling::accepted : Ruling::undecided;
  }
  if (hits >= slope_ * trials + above_) return Ruling::rejected;
  return hits <= slope_ * trials - below_ ? Ruling::accepted : Ruling::undecided;
}

double SequentialShare::mean_trials_if_acceptable() const {
  if (none_) return trials_without_hits();
  // Sum of one trial's steps: p (1 - slope) up and (1 - p) slope down.
  const double drift = slope_ - plan_.acceptable;
  return ((1 - plan_.reject_risk) * below_ - plan_.reject_risk * above_) / drift;
}

double SequentialShare::mean_trials_if_rejectable() const {
  // Until the first hit, or the end: the sum of (1 - p)^i over the trials.
  if (none_) return (1 - plan_.accept_risk) / plan_.rejectable;
  const double drift = plan_.rejectable - slope_;
  return ((1 - plan_.accept_risk) * above_ - plan_.accept_risk * below_) / drift;
}

}  // namespace hopbench
