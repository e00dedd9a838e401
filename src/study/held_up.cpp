#include "study/held_up.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <utility>

#include "base/counted.h"

namespace hopbench {
namespace {

constexpr std::size_t most_named = 5;

HeldUp row_of(std::string station, bool answering, std::uint64_t late, const Histogram& times) {
  HeldUp row{std::move(station), answering, late, times.count(), 0, 0, 0};
  row.median = times.percentile(500'000).value_or(0);
  row.most = times.percentile(990'000).value_or(0);
  row.longest = times.most().value_or(0);
  return row;
}

const Histogram& times_of(const Held& held, bool answering) { return answering ? held.answering : held.passing; }

}  // namespace

std::vector<HeldUp> held_up(const Evidence& evidence, const Case& which) {
  if (which.family != Family::late) return {};
  using Place = std::pair<std::uint16_t, bool>;  // station, answering
  std::map<Place, std::uint64_t> late;
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    if (incident.station >= evidence.held.size() || incident.excess <= 0) continue;
    late[{incident.station, incident.answering && incident.station == incident.node}] += evidence.one_incident_in;
  }
  std::vector<std::pair<Place, std::uint64_t>> order(late.begin(), late.end());
  std::stable_sort(order.begin(), order.end(), [](const auto& a, const auto& b) { return a.second > b.second; });
  std::vector<HeldUp> rows;
  for (std::size_t i = 0; i < std::min(order.size(), most_named); ++i) {
    const auto& [place, count] = order[i];
    rows.push_back(row_of(evidence.run.nodes[place.first], place.second, count,
                          times_of(evidence.held[place.first], place.second)));
  }
  if (rows.empty()) return rows;
  const bool answering = rows.front().answering;
  Histogram others{5, 41};
  std::uint64_t count = 0;
  std::uint64_t stations = 0;
  for (std::uint16_t i = 0; i < evidence.held.size(); ++i) {
    const auto found = std::find_if(order.begin(), order.end(), [&](const auto& each) {
      return each.first == Place{i, answering};
    });
    const auto at = found - order.begin();
    if (found != order.end() && at < static_cast<std::ptrdiff_t>(most_named)) continue;
    const auto& times = times_of(evidence.held[i], answering);
    if (times.count() == 0) continue;
    others.merge(times);
    ++stations;
    if (found != order.end()) count += found->second;
  }
  if (stations > 0) rows.push_back(row_of(counted(stations, "other"), answering, count, others));
  return rows;
}

}  // namespace hopbench
