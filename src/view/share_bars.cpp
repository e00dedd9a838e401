#include "view/share_bars.h"

#include <algorithm>
#include <cmath>

#include "view/number_text.h"

namespace hopbench {
namespace {

constexpr double least_share = 1e-12;

double power(double share) { return std::log10(std::max(share, least_share)); }

}  // namespace

void ShareBars::fit(const Share& share) {
  const double least = power(share.value > 0 ? share.value : share.high);
  const int low = std::min(-1, static_cast<int>(std::floor(least)));
  low_ = empty_ ? low : std::min(low_, low);
  const int high = std::min(0, static_cast<int>(std::ceil(power(share.high))));
  high_ = std::max({empty_ ? high : high_, high, low_ + 1});
  empty_ = false;
}

std::string ShareBars::ends() const {
  const std::string left = percent(std::pow(10, low_)) + " %";
  const std::string right = percent(std::pow(10, high_)) + " %";
  return left + std::string(columns_ - std::min(columns_ - 1, left.size() + right.size()), ' ') + right;
}

std::string ShareBars::bar(const Share& share) const {
  const std::size_t value = share.value > 0 ? std::max<std::size_t>(1, place(share.value)) : 0;
  const std::size_t high = std::max(value, place(share.high));
  return std::string(value, '#') + std::string(high - value, '-');
}

std::size_t ShareBars::place(double share) const {
  const double part = (power(share) - low_) / (high_ - low_);
  return static_cast<std::size_t>(std::lround(std::clamp(part, 0.0, 1.0) * static_cast<double>(columns_)));
}

}  // namespace hopbench
