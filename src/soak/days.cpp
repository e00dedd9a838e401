#include "soak/days.h"

#include <algorithm>
#include <numeric>

#include "judge/holm.h"

namespace hopbench {
namespace {

constexpr double level = 0.01;
constexpr std::size_t least_days = 10;
constexpr std::array<SoakTrend, 5> all_trends{SoakTrend::failures, SoakTrend::round_trip_median,
                                              SoakTrend::round_trip_longest, SoakTrend::unseen, SoakTrend::warmest};

std::optional<double> value_of(const SoakDay& day, SoakTrend trend) {
  const auto number = [](const auto& value) -> std::optional<double> {
    if (!value) return std::nullopt;
    return static_cast<double>(*value);
  };
  switch (trend) {
    case SoakTrend::failures:
      if (day.asked == 0) return std::nullopt;
      return static_cast<double>(day.failed) / static_cast<double>(day.asked);
    case SoakTrend::round_trip_median:
      return number(day.round_trip_median);
    case SoakTrend::round_trip_longest:
      return number(day.round_trip_longest);
    case SoakTrend::unseen:
      return static_cast<double>(day.unseen);
    case SoakTrend::warmest:
      return number(day.warmest_mc);
  }
  return std::nullopt;
}

double mean(const std::vector<double>& values, std::size_t from, std::size_t to) {
  return std::accumulate(values.begin() + static_cast<std::ptrdiff_t>(from),
                         values.begin() + static_cast<std::ptrdiff_t>(to), 0.0) /
         static_cast<double>(to - from);
}

}  // namespace

void SoakDay::keep(Archive& archive) {
  archive.span("from", from);
  archive.number("asked", asked);
  archive.number("failed", failed);
  archive.maybe("median", round_trip_median, [&](Nanos& value) { archive.span("median", value); });
  archive.maybe("longest", round_trip_longest, [&](Nanos& value) { archive.span("longest", value); });
  archive.span("unseen", unseen);
  archive.maybe("coldest", coldest_mc, [&](std::int32_t& value) { archive.number("coldest", value); });
  archive.maybe("warmest", warmest_mc, [&](std::int32_t& value) { archive.number("warmest", value); });
}

void SoakHour::keep(Archive& archive) {
  archive.number("asked", asked);
  archive.number("failed", failed);
}

std::vector<SoakChange> changes_in(const std::vector<SoakDay>& days) {
  std::vector<SoakChange> found;
  if (days.size() < least_days) return found;
  std::vector<double> chances;
  for (const SoakTrend trend : all_trends) {
    std::vector<double> values;
    for (const auto& day : days) {
      if (const auto value = value_of(day, trend)) values.push_back(*value);
    }
    if (values.size() != days.size()) continue;
    const auto change = change_point(values);
    chances.push_back(change.p);
    SoakChange& each = found.emplace_back();
    each.trend = trend;
    each.first_after = change.first_after;
    if (change.first_after == 0) continue;
    each.before = mean(values, 0, change.first_after);
    each.after = mean(values, change.first_after, values.size());
  }
  const auto corrected = holm(chances);
  for (std::size_t i = 0; i < found.size(); ++i) found[i].p = corrected[i];
  std::erase_if(found, [](const SoakChange& each) { return each.first_after == 0 || each.p >= level; });
  return found;
}

}  // namespace hopbench
