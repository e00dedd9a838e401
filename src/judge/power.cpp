#include "judge/power.h"

#include <algorithm>
#include <boost/math/distributions/non_central_t.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
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

std::optional<std::uint64_t> clusters_to_show(double t, std::uint64_t clusters, Power power, std::uint64_t most) {
  if (clusters < 2 || most < 2 || !std::isfinite(t) || t == 0) return std::nullopt;
  const double effect = std::abs(t) / std::sqrt(static_cast<double>(clusters));
  const auto enough = [&](std::uint64_t number) {
    const double n = static_cast<double>(number);
    const double far = effect * std::sqrt(n);
    if (far > 40) return true;  // beyond what any level asks, and beyond what the series sums well
    const boost::math::students_t_distribution<double> student(n - 1);
    const double limit = boost::math::quantile(boost::math::complement(student, power.level / 2));
    const boost::math::non_central_t_distribution<double> shifted(n - 1, far);
    return boost::math::cdf(boost::math::complement(shifted, limit)) >= power.power;
  };
  if (!enough(most)) return std::nullopt;
  std::uint64_t low = 1;
  std::uint64_t high = most;
  while (high - low > 1) {
    const auto middle = low + (high - low) / 2;
    (enough(middle) ? high : low) = middle;
  }
  return high;
}

}  // namespace hopbench
