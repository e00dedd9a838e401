#include "study/trace.h"

#include <algorithm>
#include <map>
#include <vector>

#include "study/burst_words.h"

namespace hopbench {
namespace {

constexpr double much = 3;  // times as often as all tries together
constexpr std::size_t tenths = 10;

}  // namespace

Leavings trace_of(const Evidence& evidence, const Case& which) {
  Leavings trace;
  trace.share.fill(-1);
  const auto kept = static_cast<double>(which.incidents.size());
  trace.failures = kept * evidence.one_incident_in;
  if (which.incidents.empty()) return trace;
  trace.rate = trace.failures / static_cast<double>(std::max<std::uint64_t>(1, evidence.tries));
  const double usual =
      static_cast<double>(evidence.failures) / static_cast<double>(std::max<std::uint64_t>(1, evidence.tries));
  const auto set = [&](Mark mark, double hits, double of) {
    if (of <= 0) return;
    trace.share[static_cast<std::size_t>(mark)] = hits / of;
    trace.known[static_cast<std::size_t>(mark)] = of;
  };
  const auto all = runs_of(evidence, which, false);
  const auto node = runs_of(evidence, which, true);
  const auto of_all = static_cast<double>(all.total());
  const auto of_node = static_cast<double>(node.total());
  set(Mark::alone, static_cast<double>(all.alone()), of_all);
  set(Mark::in_long_run, static_cast<double>(all.from_length(8)), of_all);
  set(Mark::in_very_long, static_cast<double>(all.from_length(64)), of_all);
  set(Mark::node_alone, static_cast<double>(node.alone()), of_node);
  set(Mark::node_run, static_cast<double>(node.from_length(4)), of_node);

  std::map<std::uint16_t, double> nodes;
  std::vector<double> time(tenths, 0);
  double by_entry = 0;
  double charge_known = 0;
  double charge_none = 0;
  double bleed_known = 0;
  double bleed_none = 0;
  double overrun = 0;
  double gap_known = 0;
  double gap_long = 0;
  // The gap that most tries have at most.
  std::array<double, bin_count> gaps{};
  double gap_total = 0;
  for (const auto& block : evidence.gaps) {
    for (std::size_t bin = 0; bin < bin_count; ++bin) {
      gaps[bin] += static_cast<double>(block[bin]);
      gap_total += static_cast<double>(block[bin]);
    }
  }
  std::size_t usual_gap = 0;
  for (double sum = 0; usual_gap < bin_count; ++usual_gap) {
    sum += gaps[usual_gap];
    if (2 * sum >= gap_total) break;
  }
  const double span = static_cast<double>(std::max<Nanos>(1, evidence.until - evidence.from));
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    ++nodes[incident.node];
    const double part = static_cast<double>(incident.at - evidence.from) / span;
    ++time[static_cast<std::size_t>(std::clamp(part, 0.0, 0.999999) * tenths)];
    if (incident.entry < evidence.entries.size()) {
      const auto& entry = evidence.entries[incident.entry];
      if (entry.tries >= 10 && static_cast<double>(entry.failures) > much * usual * static_cast<double>(entry.tries)) {
        ++by_entry;
      }
    }
    if (incident.moment < evidence.moments.size()) {
      const auto& moment = evidence.moments[incident.moment];
      if (moment.charge != unknown_bin) {
        ++charge_known;
        charge_none += moment.charge == 0 ? 1 : 0;
      }
      if (moment.balancing != unknown_bin) {
        ++bleed_known;
        bleed_none += moment.balancing == 0 ? 1 : 0;
      }
    }
    if (incident.symptom == Symptom::overrun) ++overrun;
    const auto gap = incident.bins[static_cast<std::size_t>(Condition::gap)];
    if (gap != unknown_bin && incident.attempt == 0) {
      ++gap_known;
      gap_long += gap > usual_gap ? 1 : 0;
    }
  }
  double most = 0;
  for (const auto& [which_node, count] : nodes) most = std::max(most, count);
  set(Mark::with_one_node, most, kept);
  set(Mark::by_entry, by_entry, kept);
  set(Mark::at_once, *std::max_element(time.begin(), time.end()), kept);
  set(Mark::without_charge, charge_none, charge_known);
  set(Mark::without_bleed, bleed_none, bleed_known);
  set(Mark::overrun, overrun, kept);
  if (evidence.rates_known()) set(Mark::after_silence, gap_long, gap_known);
  return trace;
}

std::string phrase_of(Mark mark) {
  switch (mark) {
    case Mark::alone:
      return "come one by one, between tries that go well";
    case Mark::in_long_run:
      return "come in runs of eight failed tries or more";
    case Mark::in_very_long:
      return "come in runs of 64 failed tries or more";
    case Mark::node_alone:
      return "are followed by a try with the same node that goes well";
    case Mark::node_run:
      return "come in runs of four failed tries or more with one node";
    case Mark::with_one_node:
      return "are with one node";
    case Mark::by_entry:
      return "are with plan entries that fail three times as often as all tries together";
    case Mark::at_once:
      return "come within one tenth of the time";
    case Mark::without_charge:
      return "come while no charge current is told";
    case Mark::without_bleed:
      return "come while no cell is told to balance";
    case Mark::after_silence:
      return "come after a longer silence than most tries";
    case Mark::overrun:
      return "are overruns at the controller";
  }
  return {};
}

}  // namespace hopbench
