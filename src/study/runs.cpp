#include "study/runs.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>
#include <vector>

namespace hopbench {
namespace {

using Place = std::pair<bool, std::uint16_t>;  // a hop, or a node

Place place_of_failure(const Incident& incident) {
  const bool on_hop = incident.symptom != Symptom::none;
  return {on_hop, on_hop ? incident.link : incident.node};
}

struct Run {
  std::size_t first = 0;  // of all incidents
  std::uint64_t failures = 0;
  Nanos from = 0;
  Nanos until = 0;
};

}  // namespace

bool InARow::outlasts_others() const {
  constexpr std::uint64_t surely = 12;
  constexpr std::uint64_t perhaps = 6;
  constexpr double unlikely = 0.001;
  if (longest < perhaps) return false;
  if (longest >= surely) return true;
  const auto all = static_cast<double>(count);
  const double goes_on = static_cast<double>(count - alone) / (all + 2);
  return all * std::pow(goes_on, static_cast<double>(longest) - 1) < unlikely;
}

InARow runs_of(const Evidence& evidence, const Case& which) {
  // What all failures at a place make of runs, whatever case they are of.
  std::map<Place, std::size_t> begun;
  std::map<Place, Run> open;
  InARow runs;
  std::uint64_t second_ones = 0;
  const auto close = [&](const Run& run) {
    if (run.failures == 0) return;
    ++runs.count;
    runs.longest = std::max(runs.longest, run.failures);
    runs.longest_span = std::max(runs.longest_span, run.until - run.from);
    second_ones += run.failures - 1;
    if (run.failures == 1) ++runs.alone;
  };
  std::size_t next = 0;
  for (const auto i : which.incidents) {
    for (; next <= i && next < evidence.incidents.size(); ++next) {
      const auto place = place_of_failure(evidence.incidents[next]);
      if (evidence.incidents[next].good_before > 0 || !begun.contains(place)) begun[place] = next;
    }
    const Incident& incident = evidence.incidents[i];
    const auto place = place_of_failure(incident);
    Run& run = open[place];
    if (run.failures == 0 || run.first != begun[place]) {
      close(run);
      run = {begun[place], 0, incident.at, incident.until};
    }
    ++run.failures;
    run.until = std::max(run.until, incident.until);
  }
  for (const auto& [place, run] : open) close(run);
  const auto n = static_cast<double>(std::max<std::size_t>(1, which.incidents.size()));
  runs.second_ones = static_cast<double>(second_ones) / n;
  return runs;
}

}  // namespace hopbench
