#include "judge/limits.h"

#include <boost/math/distributions/binomial.hpp>

namespace hopbench {

std::optional<Share> share_of(std::uint64_t hits, std::uint64_t trials, double confidence) {
  return effective_share(static_cast<double>(hits), static_cast<double>(trials), confidence);
}

std::optional<Share> effective_share(double hits, double trials, double confidence) {
  if (trials <= 0 || hits > trials) return std::nullopt;
  using Binomial = boost::math::binomial_distribution<double>;
  const double n = trials;
  const double k = hits;
  const double tail = (1 - confidence) / 2;
  Share share;
  share.value = k / n;
  share.low = hits == 0 ? 0 : Binomial::find_lower_bound_on_p(n, k, tail);
  share.high = hits >= trials ? 1 : Binomial::find_upper_bound_on_p(n, k, tail);
  return share;
}

}  // namespace hopbench
