#include "judge/periods.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "judge/spectrum.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

double share(Dice& dice) { return static_cast<double>(dice.up_to(999'999)) / 1e6; }

struct Series {
  std::vector<double> events;
  std::vector<double> others;
};

/// Something every second; it fails with chance `in` in `width` of each `length`, else with chance `out`.
Series series(Dice& dice, double span, double length, double width, double in, double out) {
  Series made;
  const double from = length * share(dice);
  for (double at = 0; at < span; at += 0.8 + 0.4 * share(dice)) {
    const double turns = (at - from) / length;
    const bool inside = length > 0 && (turns - std::floor(turns)) * length < width;
    if (share(dice) < (inside ? in : out)) {
      made.events.push_back(at);
    } else if (dice.one_in(10)) {
      made.others.push_back(at);
    }
  }
  return made;
}

}  // namespace

TEST_CASE("the transform of a wave is one line", "[periods]") {
  std::vector<std::complex<double>> values(64);
  for (std::size_t i = 0; i < 64; ++i)
    values[i] = std::polar(1.0, 2 * std::numbers::pi * 5 * static_cast<double>(i) / 64);
  transform(values);
  for (std::size_t i = 0; i < 64; ++i) CHECK(std::abs(values[i] - (i == 5 ? 64.0 : 0.0)) < 1e-9);
}

TEST_CASE("the transform agrees with the sum that it stands for", "[periods]") {
  Dice dice("transform", 1);
  std::vector<std::complex<double>> values(32);
  for (auto& value : values) value = {share(dice), share(dice)};
  auto fast = values;
  transform(fast);
  for (std::size_t k = 0; k < 32; ++k) {
    std::complex<double> sum;
    for (std::size_t i = 0; i < 32; ++i) {
      sum += values[i] * std::polar(1.0, -2 * std::numbers::pi * static_cast<double>(i * k) / 32);
    }
    CHECK(std::abs(sum - fast[k]) < 1e-9);
  }
}

TEST_CASE("a period drawn at random is found, and not a part or a multiple of it", "[periods]") {
  int found = 0;
  std::string all;
  for (std::uint64_t trial = 0; trial < 40; ++trial) {
    Dice dice("period", trial);
    const double span = 20'000 + 20'000 * share(dice);
    const double length = std::exp(std::log(30.0) + share(dice) * std::log(span / 20 / 30));
    const double width = std::max(1.5, length * (trial % 2 == 0 ? 0.01 : 0.15));
    const auto made = series(dice, span, length, width, trial % 3 == 0 ? 0.4 : 0.95, 0.0002);
    const auto period = period_of(made.events, made.others, 0, span, 4);
    // The last event must still lie in its stretch.
    const bool right = period && std::abs(period->length - length) * span / length < 2 * width + 4;
    if (right) ++found;
    if (!right) {
      all += std::to_string(trial) + ": " + std::to_string(length) + ", told " +
             (period ? std::to_string(period->length) : std::string("none")) + " of " +
             std::to_string(made.events.size()) + "\n";
    }
  }
  INFO(all);
  CHECK(found >= 38);
}

TEST_CASE("a short stretch that comes seldom is found by its own period", "[periods]") {
  // Hundreds of harmonics are as high as the first; what is asked every few seconds in days, and fails for seconds.
  int found = 0;
  std::string all;
  for (std::uint64_t trial = 0; trial < 24; ++trial) {
    Dice dice("seldom", trial);
    const double span = 100'000 + 100'000 * share(dice);
    const double length = span / (14 + 40 * share(dice));
    const auto made = series(dice, span, length, 2 + 4 * share(dice), 1, 0);
    std::vector<double> first;  // of each stretch: those after it follow from it
    for (const double at : made.events) {
      if (first.empty() || at - first.back() > 60) first.push_back(at);
    }
    const auto period = period_of(first, made.others, 0, span, 4);
    const bool right = period && std::abs(period->length - length) < 0.001 * length;
    if (right) ++found;
    all += std::to_string(trial) + ": " + std::to_string(length) + ", told " +
           (period ? std::to_string(period->length) : std::string("none")) + " of " + std::to_string(first.size()) +
           "\n";
  }
  INFO(all);
  CHECK(found >= 22);
}

TEST_CASE("events at random have no period, neither one by one nor in bursts", "[periods]") {
  int found = 0;
  for (std::uint64_t trial = 0; trial < 60; ++trial) {
    Dice dice("no period", trial);
    auto made = series(dice, 30'000, 1, 0, 0, 0.001 + 0.02 * share(dice));
    if (trial % 2 == 0) {
      // Bursts of up to two minutes.
      std::vector<double> bursts;
      for (int i = 0; i < 15; ++i) {
        const double at = 30'000 * share(dice);
        for (double more = 0; more < 120 * share(dice); more += 1) bursts.push_back(std::min(29'999.0, at + more));
      }
      made.events = bursts;
      std::sort(made.events.begin(), made.events.end());
    }
    if (period_of(made.events, made.others, 0, 30'000, 4)) ++found;
  }
  CHECK(found <= 1);
}

TEST_CASE("the step in which something is asked is no period of its failures", "[periods]") {
  Series made;
  Dice dice("step", 1);
  for (double at = 0; at < 20'000; at += 10) (share(dice) < 0.05 ? made.events : made.others).push_back(at);
  CHECK_FALSE(period_of(made.events, made.others, 0, 20'000, 4));
}

}  // namespace hopbench
