#include "study/hypothesis.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/special_functions/beta.hpp>
#include <cmath>
#include <utility>

namespace hopbench {
namespace {

/// What every mechanism does now and then, beside what it predicts.
constexpr double anything_else = 0.02;
/// No fact is taken to be surer than this.
constexpr double least_chance = 0.001;

/// Chance that a share, of which `hits` of `trials` were seen and nothing else is known, lies within what is allowed.
double within(double hits, double trials, Allowed allowed) {
  const double a = hits + 1;
  const double b = trials - hits + 1;
  const double below = allowed.low <= 0 ? 0 : boost::math::ibeta(a, b, allowed.low);
  const double above = allowed.high >= 1 ? 0 : boost::math::ibetac(a, b, allowed.high);
  return std::max(0.0, 1 - below - above);
}

/// Chance of a share at least so far outside.
double outside(double hits, double trials, Allowed allowed) {
  const double share = hits / trials;
  if (share > allowed.high) {
    if (allowed.high <= 0) return hits >= 0.5 ? 0 : 1;
    return boost::math::ibeta(hits, trials - hits + 1, allowed.high);
  }
  if (share < allowed.low) {
    if (allowed.low >= 1) return trials - hits >= 0.5 ? 0 : 1;
    return boost::math::ibetac(hits + 1, trials - hits, allowed.low);
  }
  return 1;
}

std::string per_cent(double share) {
  if (share > 0 && share < 0.005) return "under 1 %";
  if (share < 1 && share > 0.995) return "over 99 %";
  return fmt::format("{:.0f} %", 100 * share);
}

std::string in_words(Allowed allowed) {
  if (allowed.low <= 0 && allowed.high >= 1) return {};
  if (allowed.low <= 0) return fmt::format("at most {} expected", per_cent(allowed.high));
  if (allowed.high >= 1) return fmt::format("at least {} expected", per_cent(allowed.low));
  return fmt::format("{:.0f} to {:.0f} % expected", 100 * allowed.low, 100 * allowed.high);
}

}  // namespace

Hypothesis& Hypothesis::share(double hits, double trials, Allowed allowed, std::string what) {
  if (trials <= 0) return *this;
  const double weight = std::min(1.0, most_trials / trials);
  const double width = std::max(1e-9, allowed.high - allowed.low);
  const double k = hits * weight;
  const double n = trials * weight;
  const double factor = within(k, n, allowed) / width;
  predictions_.push_back({std::log((1 - anything_else) * factor + anything_else), outside(k, n, allowed),
                          per_cent(hits / trials) + " " + std::move(what), in_words(allowed)});
  return *this;
}

Hypothesis& Hypothesis::fact(bool so, double chance, std::string text) {
  const double of_this = so ? chance : 1 - chance;
  predictions_.push_back(
      {std::log(std::max(of_this, least_chance) / 0.5), of_this <= 0 ? 0.0 : 1.0, std::move(text), {}});
  return *this;
}

Hypothesis& Hypothesis::likely(double sure, double chance, std::string text) {
  const auto score = [](double of_this) { return std::log(std::max(of_this, least_chance) / 0.5); };
  predictions_.push_back({sure * score(chance) + (1 - sure) * score(1 - chance), 1, std::move(text), {}});
  return *this;
}

Hypothesis& Hypothesis::tested(double p, std::string text) {
  predictions_.push_back(
      {std::max(std::log(anything_else), std::min(0.0, std::log(p / 0.05))), p, std::move(text), {}});
  return *this;
}

Hypothesis& Hypothesis::never(bool so, std::string text) {
  if (so) predictions_.push_back({std::log(anything_else), 0, std::move(text), {}});
  return *this;
}

double Hypothesis::score() const {
  double sum = 0;
  for (const auto& each : predictions_) sum += each.score;
  return sum;
}

std::optional<Rejected> Hypothesis::rejected() const {
  if (predictions_.empty()) return std::nullopt;
  const auto worst = std::min_element(predictions_.begin(), predictions_.end(), [](const auto& a, const auto& b) {
    return a.p != b.p ? a.p < b.p : a.score < b.score;
  });
  const double p = std::min(1.0, worst->p * static_cast<double>(predictions_.size()));
  if (p >= level) return std::nullopt;
  return Rejected{mechanism_, worst->text + (worst->expected.empty() ? "" : ", " + worst->expected), p};
}

}  // namespace hopbench
