#include "study/runs.h"

#include <algorithm>
#include <map>
#include <vector>

namespace hopbench {

InARow runs_of(const Evidence& evidence, const Case& which) {
  InARow runs;
  std::map<std::uint16_t, std::vector<const Incident*>> by_place;
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    by_place[incident.symptom != Symptom::none ? incident.link : incident.node].push_back(&incident);
  }
  double second_ones = 0;
  for (const auto& [place, incidents] : by_place) {
    for (std::size_t i = 0; i < incidents.size();) {
      std::size_t next = i + 1;
      Nanos until = incidents[i]->until;
      while (next < incidents.size() && incidents[next]->good_before == 0) {
        until = std::max(until, incidents[next]->until);
        ++next;
      }
      ++runs.count;
      runs.longest = std::max<std::uint64_t>(runs.longest, next - i);
      runs.longest_span = std::max(runs.longest_span, until - incidents[i]->at);
      second_ones += static_cast<double>(next - i - 1);
      if (next - i == 1) ++runs.alone;
      i = next;
    }
  }
  const auto n = static_cast<double>(std::max<std::size_t>(1, which.incidents.size()));
  runs.second_ones = second_ones / n;
  return runs;
}

}  // namespace hopbench
