#include "study/ripple.h"

#include <algorithm>
#include <array>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

namespace hopbench {
namespace {

using Phase = std::complex<double>;

constexpr double widest = 0.003;  // that a frequency is off
constexpr std::array<Nanos, 3> stretches{128 * second, 512 * second, 4'096 * second};
constexpr std::size_t fewest = 8;
constexpr std::size_t most_pairs = 4'000;  // of a stretch; more of them would only take longer
constexpr int directions = 4;

Phase at_angle(double turns) { return std::polar(1.0, 2 * std::numbers::pi * (turns - std::floor(turns))); }

/// The pairs as they are at one frequency, and turned by one step to the next.
struct Turning {
  Phase damaged;
  Phase spared;
  Phase damaged_step;
  Phase spared_step;
};

/// Each pair's difference of two phases could as well be the other way round. Of a sum of a_i with random signs:
/// P(|sum| >= t |a|) <= 2 exp(-t^2 / 2) (Hoeffding, J. Am. Stat. Assoc. 58, 1963, theorem 2). Along some directions,
/// for each of the frequencies: the chances add up.
double chance_in(std::span<const Twins> pairs, double hz, Nanos stretch) {
  if (pairs.size() < fewest) return 1;
  const double span = static_cast<double>(stretch) / static_cast<double>(second);
  const double step = 0.5 / span;
  const auto steps = static_cast<int>(2 * widest * hz / step) + 1;
  const Nanos origin = pairs.front().damaged;
  std::vector<Turning> all;
  for (const Twins& pair : pairs.first(std::min(pairs.size(), most_pairs))) {
    const double damaged = static_cast<double>(pair.damaged - origin) / static_cast<double>(second);
    const double spared = static_cast<double>(pair.spared - origin) / static_cast<double>(second);
    const double lowest = hz * (1 - widest);
    all.push_back(
        {at_angle(lowest * damaged), at_angle(lowest * spared), at_angle(step * damaged), at_angle(step * spared)});
  }
  double most = 0;  // t^2
  for (int n = 0; n < steps; ++n) {
    Phase sum = 0;
    double xx = 0;
    double yy = 0;
    double xy = 0;
    for (Turning& each : all) {
      const Phase off = each.damaged - each.spared;
      sum += off;
      xx += off.real() * off.real();
      yy += off.imag() * off.imag();
      xy += off.real() * off.imag();
      each.damaged *= each.damaged_step;
      each.spared *= each.spared_step;
    }
    for (int direction = 0; direction < directions; ++direction) {
      const double c = std::cos(std::numbers::pi * direction / directions);
      const double s = std::sin(std::numbers::pi * direction / directions);
      const double along = c * sum.real() + s * sum.imag();
      const double squares = c * c * xx + s * s * yy + 2 * c * s * xy;
      if (squares > 1e-9) most = std::max(most, along * along / squares);
    }
  }
  return std::min(1.0, 2.0 * steps * directions * std::exp(-most / 2));
}

}  // namespace

double chance_of_step(const std::vector<Twins>& pairs, int hz) {
  double least = 1;
  for (const Nanos stretch : stretches) {
    // Fisher's way to put together the chances of all stretches.
    double logs = 0;
    int count = 0;
    for (std::size_t first = 0; first < pairs.size();) {
      std::size_t end = first;
      while (end < pairs.size() && pairs[end].damaged - pairs[first].damaged < stretch) ++end;
      if (end - first >= fewest) {
        logs -= 2 * std::log(std::max(1e-300, chance_in(std::span(pairs).subspan(first, end - first), hz, stretch)));
        ++count;
      }
      first = end;
    }
    if (count == 0) continue;
    const boost::math::chi_squared_distribution<double> law(2 * count);
    least = std::min(least, boost::math::cdf(boost::math::complement(law, logs)));
  }
  return std::min(1.0, static_cast<double>(stretches.size()) * least);
}

}  // namespace hopbench
