#include <fmt/format.h>

#include <algorithm>

#include "study/weighing.h"

namespace hopbench {
namespace {

struct LateFacts {
  double at_node = 0;  // share of incidents held up at the node asked
  double between = 0;  // at a station between
  double excess = 0;   // ns, on average
  Nanos longest = 0;
  double hasty = 0;   // given up sooner than most answers take
  bool same = false;  // held up for the same time whenever it was: what was put in looks so, work does not
  // Late tries per try at the case's station: of topics that tell of cells, and of others.
  double measured = 0;
  double others = 0;
  bool both = false;  // asked for often enough to compare
  // Turn-around there of answers in time, with the fewest and with the most cells balancing.
  double at_rest = 0;  // ns
  double at_most = 0;
  std::size_t most_bin = 0;
};

LateFacts late_facts(const Evidence& evidence, const Case& which) {
  LateFacts facts;
  const double n = static_cast<double>(which.incidents.size());
  Spans excess;
  std::array<double, 2> late{};
  std::array<double, 2> tries{};
  const auto station = which.stations.empty() ? no_station : which.stations.front();
  const auto measures = [&](std::size_t entry) { return evidence.run.entries[entry].cells > 0 ? 1U : 0U; };
  for (const auto i : which.incidents) {
    const auto& incident = evidence.incidents[i];
    excess.add(incident.excess);
    facts.longest = std::max(facts.longest, incident.excess);
    if (static_cast<double>(incident.waited) < 0.9 * evidence.round_trips.mean()) facts.hasty += 1 / n;
    if (incident.excess > millisecond) (incident.station == incident.node ? facts.at_node : facts.between) += 1 / n;
    if (incident.entry < evidence.entries.size()) late[measures(incident.entry)] += evidence.one_incident_in;
  }
  facts.excess = excess.mean();
  facts.same = excess.count >= 20 && excess.deviation() < 0.02 * excess.mean();
  std::array<Spans, 8> turn_arounds{};
  for (std::size_t i = 0; i < evidence.entries.size(); ++i) {
    const bool concerned =
        !which.placed || station == no_station || evidence.run.entries[i].node == evidence.run.nodes[station];
    if (!concerned) continue;
    tries[measures(i)] += static_cast<double>(evidence.entries[i].tries);
    for (std::size_t bin = 0; bin < turn_arounds.size(); ++bin) {
      turn_arounds[bin].count += evidence.entries[i].turn_around[bin].count;
      turn_arounds[bin].sum += evidence.entries[i].turn_around[bin].sum;
    }
  }
  facts.both = tries[0] >= 20 && tries[1] >= 20;
  facts.measured = tries[1] > 0 ? late[1] / tries[1] : 0;
  facts.others = tries[0] > 0 ? late[0] / tries[0] : 0;
  for (std::size_t bin = 0; bin < turn_arounds.size(); ++bin) {
    if (turn_arounds[bin].count < 10) continue;
    if (facts.at_rest <= 0) facts.at_rest = turn_arounds[bin].mean();
    facts.at_most = turn_arounds[bin].mean();
    facts.most_bin = bin;
  }
  return facts;
}

}  // namespace

void weigh_late(Weighing& scale) {
  const auto& e = scale.e();
  const auto& f = scale.f();
  const auto late = late_facts(e, scale.c());
  const auto held =
      fmt::format("{:.0f} % were held up at the node asked{}, by {} on average", 100 * late.at_node,
                  late.between > 0.005 ? fmt::format(" and {:.0f} % at one between", 100 * late.between) : "",
                  words::span(static_cast<Nanos>(late.excess)));
  const bool grows = late.at_rest > 0 && late.at_most > 1.25 * late.at_rest;
  const auto growth =
      grows ? fmt::format("; answers in time leave after {} at rest and after {} with {} balancing",
                          words::span(static_cast<Nanos>(late.at_rest)), words::span(static_cast<Nanos>(late.at_most)),
                          bin_text(Condition::balancing, late.most_bin))
            : "";
  const double cells = f.balancing.rises() || grows ? 1 : 0;
  const auto length = trend_of(tabulate(e, scale.c(), Condition::length, {}));
  const double long_answers = length.tested && length.t > 0 && length.p < 0.01 ? 1 : 0;
  const double every_time = f.entry_rate > 0.9 ? 1.5 : 0;
  const double same = late.same && every_time == 0 ? 1.5 : 0;
  double only_cells = 0;
  std::string topics;
  if (late.both && late.measured > 5 * late.others) {
    only_cells = 1.5;
    topics = "; answers that tell of cells are concerned, others not";
  } else if (late.both && late.others > 0.3 * late.measured) {
    only_cells = -1.5;
    topics = "; answers that tell of no cell are late as well";
  }
  const double at_node = late.at_node > 0.5 ? 3 : -3;
  scale.weigh(Mechanism::measurement, at_node + long_answers + cells + every_time + only_cells - same,
              held + topics + growth);
  scale.weigh(Mechanism::busy_node,
              (late.at_node > 0.5 ? 3.0 : 0.0) + (late.between > 0.2 ? 3 : 0) + 1.5 * cells - long_answers / 2 -
                  only_cells - same,
              held + topics + growth);
  scale.weigh(Mechanism::injected,
              (late.at_node + late.between > 0.5 ? 3 : 0) - 3 * cells - long_answers - every_time + same / 2,
              fmt::format("{}, {} at most, whatever the conditions", held, words::span(late.longest)));
  if (late.hasty > 0.5) {
    scale.weigh(
        Mechanism::controller, 7,
        fmt::format("{:.0f} % were given up sooner than answers take on average ({}): the controller's timer, not "
                    "the chain",
                    100 * late.hasty, words::span(static_cast<Nanos>(e.round_trips.mean()))));
  } else if (late.at_node + late.between < 0.5) {
    scale.weigh(Mechanism::controller, 2.5,
                "no station took longer than usual: the time-out is too short for this chain, or the controller keeps "
                "time badly");
  }
}

}  // namespace hopbench
