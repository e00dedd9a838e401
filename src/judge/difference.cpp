#include "judge/difference.h"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>

namespace hopbench {
namespace {

double normal_quantile(double p) { return boost::math::quantile(boost::math::normal_distribution<double>(), p); }

struct Limits {
  double low = 0;
  double high = 1;
};

/// E. B. Wilson, Journal of the American Statistical Association 22 (1927) 209.
Limits wilson(Counted counted, double z) {
  const double n = counted.trials;
  const double p = counted.share();
  const double middle = 2 * n * p + z * z;
  const double reach = z * std::sqrt(z * z + 4 * n * p * (1 - p));
  return {std::max(0.0, (middle - reach) / (2 * (n + z * z))), std::min(1.0, (middle + reach) / (2 * (n + z * z)))};
}

double log_choose(double n, double k) { return std::lgamma(n + 1) - std::lgamma(k + 1) - std::lgamma(n - k + 1); }

}  // namespace

Difference difference_of(Counted first, Counted second, double confidence) {
  Difference difference;
  difference.value = second.share() - first.share();
  if (first.trials <= 0 || second.trials <= 0) return difference;
  const double z = normal_quantile(0.5 + confidence / 2);
  const auto a = wilson(first, z);
  const auto b = wilson(second, z);
  const double p1 = first.share();
  const double p2 = second.share();
  difference.low = difference.value - std::hypot(p2 - b.low, a.high - p1);
  difference.high = difference.value + std::hypot(b.high - p2, p1 - a.low);
  return difference;
}

double fisher_exact(std::uint64_t hits_1, std::uint64_t trials_1, std::uint64_t hits_2, std::uint64_t trials_2) {
  const auto n1 = static_cast<double>(trials_1);
  const auto n2 = static_cast<double>(trials_2);
  const double hits = static_cast<double>(hits_1) + static_cast<double>(hits_2);
  const double lowest = std::max(0.0, hits - n2);
  const double highest = std::min(hits, n1);
  const double whole = log_choose(n1 + n2, hits);
  const auto log_chance = [&](double k) { return log_choose(n1, k) + log_choose(n2, hits - k) - whole; };
  // Chances fall away from the likeliest table on both sides: each side is walked inwards from where it counts, and
  // left where it no longer adds anything.
  const auto observed = static_cast<double>(hits_1);
  const double mode = std::clamp(std::floor((hits + 1) * (n1 + 1) / (n1 + n2 + 2)), lowest, highest);
  // Tables as likely as this one but for rounding count as well.
  const double bound = log_chance(observed) + 1e-7;
  const auto tail = [&](double from, double step, double end) {
    double term = std::exp(log_chance(from));
    double sum = 0;
    for (double k = from;; k += step) {
      sum += term;
      if (k == end || term < sum * 1e-17) return sum;
      // Ratio of neighbours.
      term *= step > 0 ? (n1 - k) * (hits - k) / ((k + 1) * (n2 - hits + k + 1))
                       : k * (n2 - hits + k) / ((n1 - k + 1) * (hits - k + 1));
    }
  };
  // First place on either side of the likeliest table that counts.
  const auto first_up = [&] {
    double low = mode;
    double high = highest;
    if (log_chance(high) > bound) return high + 1;
    while (low < high) {
      const double middle = std::floor((low + high) / 2);
      (log_chance(middle) <= bound ? high : low) = log_chance(middle) <= bound ? middle : middle + 1;
    }
    return low;
  };
  const auto first_down = [&] {
    double low = lowest;
    double high = mode;
    if (log_chance(low) > bound) return low - 1;
    while (low < high) {
      const double middle = std::ceil((low + high) / 2);
      (log_chance(middle) <= bound ? low : high) = log_chance(middle) <= bound ? middle : middle - 1;
    }
    return high;
  };
  const double up = first_up();
  const double down = first_down();
  if (up <= down + 1) return 1;
  double p = 0;
  if (up <= highest) p += tail(up, 1, highest);
  if (down >= lowest) p += tail(down, -1, lowest);
  return std::min(1.0, p);
}

}  // namespace hopbench
