// A soak day by day, and over the hours of its days.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "base/archive.h"
#include "base/time.h"
#include "judge/change_point.h"

namespace hopbench {

/// One day of the run's time, or what there was of it.
struct SoakDay {
  Nanos from = 0;
  std::uint64_t asked = 0;
  std::uint64_t failed = 0;
  std::optional<Nanos> round_trip_median;
  std::optional<Nanos> round_trip_longest;
  Nanos unseen = 0;  // longest time without a reading of some cell, within the day
  std::optional<std::int32_t> coldest_mc;
  std::optional<std::int32_t> warmest_mc;  // of all boards
  void keep(Archive& archive);
  friend bool operator==(const SoakDay&, const SoakDay&) = default;
};

struct SoakHour {
  std::uint64_t asked = 0;
  std::uint64_t failed = 0;
  void keep(Archive& archive);
  friend bool operator==(const SoakHour&, const SoakHour&) = default;
};

/// By hour of the day, of the run's time.
using SoakHours = std::array<SoakHour, 24>;

enum class SoakTrend : std::uint8_t { failures, round_trip_median, round_trip_longest, unseen, warmest };

/// What one figure did over the days: a change of its level, if the days show one.
struct SoakChange {
  SoakTrend trend = SoakTrend::failures;
  std::size_t first_after = 0;  // index of the first day after it
  double before = 0;            // mean of the days before and after: a share, ns, or thousandths of a degree Celsius
  double after = 0;
  double p = 1;  // corrected for all figures that were looked at
};

/// Changes that are clearer than one in a hundred soaks without any would show (Pettitt's test, Holm's correction).
/// `days`: whole ones; at least ten, or nothing is found.
std::vector<SoakChange> changes_in(const std::vector<SoakDay>& days);

}  // namespace hopbench
