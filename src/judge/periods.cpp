#include "judge/periods.h"

#include <algorithm>
#include <array>
#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "judge/spectrum.h"

namespace hopbench {
namespace {

constexpr std::size_t least_events = 12;
constexpr std::size_t least_cycles = 6;  // with events in them
constexpr std::size_t least_known_cycles = 4;
constexpr double known_arcs = 24;        // that any of the known periods is cut into
constexpr double most_stretches = 1024;  // of the span: events within one are one episode
constexpr double near_share = 256;
constexpr double least_near = 100;
constexpr std::size_t most_places = 1U << 17U;
constexpr std::size_t most_peaks = 10;
constexpr std::size_t most_combs = 6;
constexpr std::size_t comb_teeth = 8;
constexpr double comb_share = 0.6;  // of the most that any comb holds
constexpr int most_multiple = 12;
constexpr std::size_t most_folded = 400;                 // events; of others five times as many
constexpr std::array<double, 3> shares{0.5, 0.9, 0.98};  // of the events that an arc holds

double phase_of(double at, double from, double length) {
  const double turns = (at - from) / length;
  return turns - std::floor(turns);
}

/// The narrowest arc that holds so many of these phases, which rise.
std::pair<double, double> narrowest(const std::vector<double>& phases, std::size_t hold) {
  double best = 2;
  double from = 0;
  for (std::size_t i = 0; i < phases.size(); ++i) {
    const std::size_t last = i + hold - 1;
    const double to = last < phases.size() ? phases[last] : phases[last - phases.size()] + 1;
    if (to - phases[i] < best) {
      best = to - phases[i];
      from = phases[i];
    }
  }
  return {from, best};
}

/// Every so manyth, so that `most` are left.
std::vector<double> thinned(std::span<const double> values, std::size_t most) {
  const std::size_t step = (values.size() + most - 1) / most;
  std::vector<double> left;
  for (std::size_t i = 0; i < values.size(); i += step) left.push_back(values[i]);
  return left;
}

/// One period that is tried.
class Trial {
 public:
  Trial(std::span<const double> events, std::span<const double> others, double begin)
      : events_(events), others_(others), begin_(begin) {}

  /// The period near this one at which events gather most, within a step of the spectrum.
  double sharpened(double length, double span) {
    double step = length * length / (2 * span) / 8;
    double most = gathered(length);
    for (const double finer : {1.0, 6.0}) {
      const double about = length;
      for (int i = -8; i <= 8; ++i) {
        const double one = about + i * step / finer;
        const double power = gathered(one);
        if (power > most) {
          most = power;
          length = one;
        }
      }
    }
    // And then the narrowest arc, by steps that shift the last event by a part of it.
    double width = width_at(length);
    for (int round = 0; round < 3; ++round) {
      step = length * length / span * std::max(1e-4, width) / 4;
      const double about = length;
      for (int i = -4; i <= 4; ++i) {
        const double one = width_at(about + i * step);
        if (one < width) {
          width = one;
          length = about + i * step;
        }
      }
    }
    return length;
  }

  /// The best arc: by likelihood. `gain` in nats.
  Periodic at(double length, double& gain) {
    fold(events_, length, phases_);
    fold(others_, length, other_phases_);
    Periodic best;
    best.length = length;
    gain = 0;
    for (const double share : shares) {
      auto [from, width] = narrowest(phases_, hold(share));
      // The arc ends somewhere between the last event and the next: half of a mean gap on each side.
      const double more = width / static_cast<double>(std::max<std::size_t>(1, hold(share) - 1));
      from -= more / 2;
      width = std::min(1.0, width + more + 1e-9);
      const double others_in = share_in(other_phases_, from, width);
      const double events_in = share_in(phases_, from, width);
      const double law =
          (others_in * static_cast<double>(others_.size()) + 0.5) / (static_cast<double>(others_.size()) + 1);
      if (events_in <= law) continue;
      const double n = static_cast<double>(events_.size());
      const double rest = events_in < 1 ? (1 - events_in) * std::log((1 - events_in) / (1 - law)) : 0;
      const double one = n * (events_in * std::log(events_in / law) + rest);
      if (one <= gain) continue;
      gain = one;
      best.from = begin_ + from * length;
      best.width = width * length;
      best.others_in = law;
    }
    return best;
  }

 private:
  /// Rayleigh's resultant of the events less that of the others.
  [[nodiscard]] double gathered(double length) const {
    const auto resultant = [&](std::span<const double> values) {
      std::complex<double> sum;
      for (const double value : values) sum += std::polar(1.0, 2 * std::numbers::pi * phase_of(value, begin_, length));
      return sum / static_cast<double>(values.size());
    };
    return std::norm(resultant(events_) - resultant(others_));
  }
  /// Width of the narrowest arc that holds nine in ten.
  double width_at(double length) {
    fold(events_, length, phases_);
    return narrowest(phases_, hold(0.9)).second;
  }
  void fold(std::span<const double> values, double length, std::vector<double>& phases) const {
    phases.clear();
    for (const double value : values) phases.push_back(phase_of(value, begin_, length));
    std::sort(phases.begin(), phases.end());
  }
  [[nodiscard]] std::size_t hold(double share) const {
    return std::max<std::size_t>(2, static_cast<std::size_t>(std::ceil(share * static_cast<double>(events_.size()))));
  }
  static double share_in(const std::vector<double>& phases, double from, double width) {
    if (phases.empty()) return 0;
    const auto below = [&](double at) {
      return static_cast<double>(std::upper_bound(phases.begin(), phases.end(), at) - phases.begin());
    };
    double in = 0;
    for (const double turn : {-1.0, 0.0, 1.0}) in += below(from + width + turn) - below(from + turn);
    return std::min(1.0, in / static_cast<double>(phases.size()));
  }

  std::span<const double> events_;
  std::span<const double> others_;
  double begin_;
  std::vector<double> phases_;
  std::vector<double> other_phases_;
};

/// Share of the others in the arc; of those near events only, if that is more and there are enough: events that lie in
/// few stretches of time see the phases that were asked about there.
double law_near(const Periodic& period, std::span<const double> events, std::span<const double> others, double near) {
  double in = 0;
  double all = 0;
  for (const double other : others) {
    const auto next = std::lower_bound(events.begin(), events.end(), other - near);
    if (next == events.end() || *next > other + near) continue;
    ++all;
    if (phase_of(other, period.from, period.length) * period.length <= period.width) ++in;
  }
  if (all < least_near) return period.others_in;
  return std::max(period.others_in, (in + 0.5) / (all + 1));
}

void test(Periodic& period, std::span<const double> events, std::span<const double> others, double span, double tried,
          std::size_t enough_cycles = least_cycles) {
  // An episode is in the stretch if more than half of its events are: the first of them stand at the edge.
  const double apart = span / most_stretches;
  double began = -1e300;
  double last = -1e300;
  double last_cycle = -1e300;
  std::uint64_t cycles = 0;
  std::uint64_t all = 0;
  std::uint64_t inside = 0;
  const auto end_episode = [&] {
    if (2 * inside > all) ++period.in;  // of two events both: that one of them is would be no surprise
    all = inside = 0;
  };
  for (const double at : events) {
    const bool fresh = at - last > period.length / 2 && at - began > apart;
    last = at;
    if (fresh) {
      end_episode();
      began = at;
      ++period.episodes;
      const double cycle = std::floor((at - period.from) / period.length);
      if (cycle != last_cycle) ++cycles;
      last_cycle = cycle;
    }
    ++all;
    if (phase_of(at, period.from, period.length) * period.length <= period.width) ++inside;
  }
  end_episode();
  if (period.in == 0 || cycles < enough_cycles) return;
  const boost::math::binomial_distribution<double> law(
      static_cast<double>(period.episodes),
      law_near(period, events, others, std::max(span / near_share, period.length / 2)));
  const double p = boost::math::cdf(boost::math::complement(law, static_cast<double>(period.in) - 1));
  period.p = std::min(1.0, p * tried);
}

/// Of periods that explain about as much the longest: where things happen in steps, many fractions of a period fit as
/// well.
class Longest {
 public:
  [[nodiscard]] bool wants(double length, double gain) const {
    if (gain <= 0 || !best_) return gain > 0;
    return gain * hardly_less > most_ || (gain > hardly_less * most_ && length > best_->length);
  }
  void take(const Periodic& period, double gain) {
    best_ = period;
    most_ = std::max(most_, gain);
  }
  [[nodiscard]] const std::optional<Periodic>& period() const { return best_; }

 private:
  static constexpr double hardly_less = 0.97;
  std::optional<Periodic> best_;
  double most_ = 0;
};

struct Peak {
  double power = 0;
  std::size_t at = 0;
};

/// Where the spectrum's power is higher than on both sides, the highest first.
std::vector<Peak> peaks_of(const std::vector<double>& power, std::size_t first) {
  std::vector<Peak> peaks;
  for (std::size_t i = first; i + 1 < power.size(); ++i) {
    if (power[i] > power[i - 1] && power[i] >= power[i + 1]) peaks.push_back({power[i], i});
  }
  std::stable_sort(peaks.begin(), peaks.end(), [](const Peak& a, const Peak& b) { return a.power > b.power; });
  return peaks;
}

/// A short event once a period has hundreds of harmonics of about the same power, and which of them is the highest is a
/// matter of chance. The lowest frequencies whose first multiples hold about as much as those of any other.
std::vector<Peak> combs_of(const std::vector<double>& power, std::size_t first) {
  std::vector<double> held(power.size(), 0);
  for (std::size_t i = first; i < power.size(); ++i) {
    for (std::size_t tooth = 1; tooth <= comb_teeth && i * tooth + tooth / 2 < power.size(); ++tooth) {
      const auto from = power.begin() + static_cast<std::ptrdiff_t>(i * tooth - tooth / 2);
      held[i] += *std::max_element(from, from + static_cast<std::ptrdiff_t>(2 * (tooth / 2) + 1));
    }
  }
  std::vector<Peak> combs = peaks_of(held, first);
  if (combs.empty()) return combs;
  const double enough = comb_share * combs.front().power;
  std::erase_if(combs, [&](const Peak& each) { return each.power < enough; });
  std::sort(combs.begin(), combs.end(), [](const Peak& a, const Peak& b) { return a.at < b.at; });
  if (combs.size() > most_combs) combs.resize(most_combs);
  return combs;
}

}  // namespace

std::optional<Periodic> period_of(std::span<const double> events, std::span<const double> others, double begin,
                                  double end, double shortest) {
  const double span = end - begin;
  if (events.size() < least_events || others.size() < least_events || span <= 0 || shortest <= 0) return std::nullopt;
  // Two places for the shortest period, and as much nothing behind it: frequencies in steps of half of 1 / span.
  std::size_t places = 64;
  while (places < most_places && span / static_cast<double>(places) > shortest / 2) places *= 2;
  const double place = span / static_cast<double>(places);
  std::vector<std::complex<double>> spectrum(2 * places);
  const auto put = [&](std::span<const double> values, double sign) {
    for (const double value : values) {
      const auto at =
          static_cast<std::size_t>(std::clamp((value - begin) / place, 0.0, static_cast<double>(places - 1)));
      spectrum[at] += sign / static_cast<double>(values.size());
    }
  };
  put(events, 1);
  put(others, -1);
  transform(spectrum);
  std::vector<double> power;
  for (std::size_t i = 0; i <= places; ++i) power.push_back(std::norm(spectrum[i]));
  constexpr std::size_t slowest = 8;  // a quarter of the span: eight steps of half a turn
  std::vector<Peak> peaks = peaks_of(power, slowest);
  if (peaks.size() > most_peaks) peaks.resize(most_peaks);
  for (const Peak& each : combs_of(power, slowest)) peaks.push_back(each);
  const double tried = static_cast<double>(places) * most_multiple * static_cast<double>(shares.size());

  const auto few_events = thinned(events, most_folded);
  const auto few_others = thinned(others, 5 * most_folded);
  Trial trial(few_events, few_others, begin);
  Longest best;
  for (const Peak& peak : peaks) {
    const double base = trial.sharpened(2 * span / static_cast<double>(peak.at), span);
    for (int multiple = 1; multiple <= most_multiple && base * multiple <= span / 4; ++multiple) {
      double gain = 0;
      Periodic found = trial.at(base * multiple, gain);
      if (found.width > found.length / 2 || !best.wants(found.length, gain)) continue;
      test(found, events, others, span, tried);
      if (found.p < period_level) best.take(found, gain);
    }
  }
  return best.period();
}

std::optional<Periodic> period_among(std::span<const double> lengths, std::span<const double> events,
                                     std::span<const double> others, double begin, double end) {
  const double span = end - begin;
  if (events.size() < least_events || others.size() < least_events || span <= 0) return std::nullopt;
  const auto few_events = thinned(events, most_folded);
  const auto few_others = thinned(others, 5 * most_folded);
  Trial trial(few_events, few_others, begin);
  std::optional<Periodic> best;
  double best_gain = 0;
  const double tried = static_cast<double>(lengths.size() * shares.size()) * known_arcs;
  for (const double length : lengths) {
    if (length > span / static_cast<double>(least_known_cycles)) continue;
    double gain = 0;
    Periodic found = trial.at(length, gain);
    if (gain <= best_gain || found.width > length / 2) continue;
    test(found, events, others, span, tried, least_known_cycles);
    if (found.p >= period_level) continue;
    best_gain = gain;
    best = found;
  }
  return best;
}

Periodic fitted(const Periodic& period, std::span<const double> events, std::span<const double> others, double begin) {
  double gain = 0;
  const Periodic arc = Trial(events, others, begin).at(period.length, gain);
  if (gain <= 0) return period;
  Periodic one = period;
  one.from = arc.from;
  one.width = arc.width;
  one.others_in = arc.others_in;
  return one;
}

}  // namespace hopbench
