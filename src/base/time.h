// Time as the whole bench keeps it: nanoseconds since the start of the run, in 64 bits.
#pragma once

#include <cstdint>
#include <limits>

namespace hopbench {

/// Nanoseconds, either an instant since the start of the run or a span. 292 years fit.
using Nanos = std::int64_t;

/// Length of one bit in nanoseconds, as a fixed-point number with 32 fractional bits.
/// (At 9600 Bd a bit is 104 166.67 ns: whole nanoseconds would drift by a bit in 160 000.)
using Period = std::uint64_t;

inline constexpr Nanos microsecond = 1'000;
inline constexpr Nanos millisecond = 1'000'000;
inline constexpr Nanos second = 1'000'000'000;
/// An instant that never comes.
inline constexpr Nanos never = std::numeric_limits<Nanos>::max();
/// No run is longer: a hundred years of 365 days.
inline constexpr Nanos longest_run = 36'500LL * 86'400 * second;
/// What a run tells lies within this of 0, a hundred years and some days for what was under way at its end. So does
/// what is read from files, and the span between two instants fits.
inline constexpr Nanos farthest_instant = 36'525LL * 86'400 * second;

/// True for what may stand in a file as an instant of a run.
constexpr bool is_instant(Nanos at) { return at >= -farthest_instant && at <= farthest_instant; }

/// Period of one bit at `baud` symbols a second (baud > 0), rounded to 2^-32 ns.
constexpr Period period_of_baud(std::uint64_t baud) {
  const unsigned __int128 scaled = static_cast<unsigned __int128>(second) << 32U;
  return static_cast<Period>((scaled + baud / 2) / baud);
}

/// Span of `bits` bit times, rounded down. Exact for every bits * period below 2^95.
constexpr Nanos span_of_bits(std::uint64_t bits, Period period) {
  return static_cast<Nanos>((static_cast<unsigned __int128>(bits) * period) >> 32U);
}

/// Instant of bit edge `bits` of something that began at `start`. Edges are always taken from the
/// start, never summed up, so that a long frame gathers no rounding error.
constexpr Nanos edge(Nanos start, std::uint64_t bits, Period period) { return start + span_of_bits(bits, period); }

}  // namespace hopbench
