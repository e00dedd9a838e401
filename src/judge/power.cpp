#include "judge/power.h"

#include <boost/math/distributions/normal.hpp>
#include <cmath>

namespace hopbench {
namespace {

double normal_quantile(double p) { return boost::math::quantile(boost::math::normal_distribution<double>(), p); }

/// The least distance of these shares that would show.
double reach(Counted first, Counted second, Power power) {
  const double p1 = first.share();
  const double p2 = second.share();
  const double pooled = (first.hits + second.hits) / (first.trials + second.trials);
  const double without = std::sqrt(pooled * (1 - pooled) * (1 / first.trials + 1 / second.trials));
  const double with = std::sqrt(p1 * (1 - p1) / first.trials + p2 * (1 - p2) / second.trials);
  return normal_quantile(1 - power.level / 2) * without + normal_quantile(power.power) * with;
}

/// The least change in one direction, up to `most`.
std::optional<double> smallest_change(double share, double sign, double most, double trials_1, double trials_2,
                                      Power power) {
  if (trials_1 <= 0 || trials_2 <= 0 || most <= 0) return std::nullopt;
  const auto seen = [&](double change) {
    const double second = share + sign * change;
    return change >= reach({share * trials_1, trials_1}, {second * trials_2, trials_2}, power);
  };
  double low = 0;
  double high = most;
  if (!seen(high)) return std::nullopt;
  for (int i = 0; i < 60; ++i) {
    const double middle = (low + high) / 2;
    (seen(middle) ? high : low) = middle;
  }
  return high;
}

}  // namespace

std::optional<double> smallest_rise(double share, double trials_1, double trials_2, Power power) {
  return smallest_change(share, 1, 1 - share, trials_1, trials_2, power);
}

std::optional<double> smallest_fall(double share, double trials_1, double trials_2, Power power) {
  return smallest_change(share, -1, share, trials_1, trials_2, power);
}

std::optional<double> times_to_show(Counted first, Counted second, Power power) {
  if (first.trials <= 0 || second.trials <= 0) return std::nullopt;
  const double apart = std::abs(second.share() - first.share());
  if (apart <= 0) return std::nullopt;
  const double short_by = reach(first, second, power) / apart;  // which shrinks with the root of trials
  return short_by * short_by;
}

}  // namespace hopbench
