// Whether events keep step with a period, and with which.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

namespace hopbench {

/// Events fall into a stretch of `width` of every `length`, the first of which begins at `from`. In the unit of the
/// events, which need not be time.
struct Periodic {
  double length = 0;
  double from = 0;
  double width = 0;
  double others_in = 0;        // share of the others that fall into the stretch
  std::uint64_t episodes = 0;  // of events: those near each other are one
  std::uint64_t in = 0;        // of these, that begin in the stretch
  double p = 1;                // chance of this many, if events fall as the others do; corrected for all periods
};

/// Chance that a period is found where there is none.
inline constexpr double period_level = 0.001;

/// The longest period that explains the most, if there is one beyond chance.
///
/// Candidates come from a spectrum: how much more events gather at one phase of a period than others do (the statistic
/// of Lord Rayleigh for events; A. Schuster 1898, N. R. Lomb 1976 and J. D. Scargle 1982 for its law), by a fast
/// Fourier transform over frequencies up to 1 / `shortest`. A sharp event once a period has harmonics of about the same
/// power, so that the lowest frequencies whose harmonics hold most are candidates too, and multiples of each candidate
/// are tried as well. Each is judged by the arc of the phase that holds most
/// events for the others that it holds: of a multiple the events fill several arcs, of a fraction the arc holds more
/// others. The arc is tested by a binomial law, an episode being one trial, and corrected (Bonferroni) for all
/// frequencies, multiples and arcs.
///
/// Events and others in rising order, between `begin` and `end`. Periods above a quarter of that are not looked for.
std::optional<Periodic> period_of(std::span<const double> events, std::span<const double> others, double begin,
                                  double end, double shortest);
/// The same of these periods only, as they are: those of clocks, say. Few are looked at, so that few events suffice.
std::optional<Periodic> period_among(std::span<const double> lengths, std::span<const double> events,
                                     std::span<const double> others, double begin, double end);

/// The same period with the arc that fits these events best.
Periodic fitted(const Periodic& period, std::span<const double> events, std::span<const double> others, double begin);

}  // namespace hopbench
