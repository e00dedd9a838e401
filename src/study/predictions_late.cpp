// What each mechanism does to answers that come after the time-out.
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "study/forms.h"
#include "study/predictions.h"
#include "study/words.h"

namespace hopbench {
namespace {

struct LateFacts {
  double at_node = 0;  // share of incidents held up at the node asked
  double between = 0;  // at a station between
  double excess = 0;   // ns, on average
  double hasty = 0;    // given up sooner than most answers take
  double nowhere = 0;  // took no longer than usual anywhere, or its answer was not seen to come
  bool same = false;   // held up for the same time whenever it was: what was put in looks so, work does not
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
    if (static_cast<double>(incident.waited) < 0.9 * evidence.round_trips.mean()) facts.hasty += 1 / n;
    if (incident.excess <= 0) facts.nowhere += 1 / n;
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

constexpr std::array<LateForm, 7> all_forms{{
    {Mechanism::measurement, {0.85, 1}, {0, 0.1}, {0, 0.15}, 0.9, 0.1, 0.35, 0.5, 0.5},
    {Mechanism::busy_node, {0, 1}, {0, 1}, {0, 0.15}, 0.06, 0.05, 0.35, 0.1, 0.1},
    {Mechanism::busy_node, {0.85, 1}, {0, 0.1}, {0, 0.15}, 0.06, 0.05, 0.35, 0.1, 0.1},
    {Mechanism::injected, {0, 1}, {0, 1}, {0, 0.15}, 0.2, 0.85, 0.03, 0.1, 0.15},
    {Mechanism::injected, {0.85, 1}, {0, 0.1}, {0, 0.15}, 0.2, 0.3, 0.03, 0.1, 0.15},
    {Mechanism::controller, {0, 1}, {0, 1}, {0.5, 1}, 0.1, 0.3, 0.05, 0.1, 0.1},
    {Mechanism::controller, {0, 0.2}, {0, 0.2}, {0, 0.6}, 0.1, 0.2, 0.05, 0.2, 0.2},
}};

}  // namespace

std::span<const LateForm> late_forms() { return all_forms; }

std::vector<Hypothesis> of_late(const Looked& at) {
  const auto& e = at.evidence;
  const auto& f = at.facts;
  const auto late = late_facts(e, at.which);
  const bool grows = late.at_rest > 0 && late.at_most > 1.25 * late.at_rest;
  const auto length = trend_of(tabulate(e, at.which, Condition::length, {}));
  const bool longer = length.tested && length.t > 0 && length.p < 0.01;
  const bool every_time = f.entry_rate > 0.9;
  const bool one_entry = f.one_entry > 0.9 && e.entries.size() >= 4;
  std::vector<Hypothesis> all;
  for (const auto& form : late_forms()) {
    if (form.mechanism == Mechanism::injected && e.run.faults.empty()) continue;
    Hypothesis h(form.mechanism);
    // What befalls one plan entry only is nothing of the controller's: then an answer came too late to be counted with
    // its ask, and nobody knows where it was.
    if (one_entry) {
      h.fact(true, form.mechanism == Mechanism::controller ? 0.05 : 0.5, "they are of one plan entry");
    }
    if (!one_entry || late.nowhere < 0.9) {
      h.share(late.at_node * f.n, f.n, form.at_node,
              fmt::format("were held up at the node asked, by {} on average",
                          words::span(static_cast<Nanos>(late.excess))));
      h.share(late.between * f.n, f.n, form.between, "were held up at a station between");
    }
    h.share(late.hasty * f.n, f.n, form.hasty,
            fmt::format("were given up sooner than answers take on average ({})",
                        words::span(static_cast<Nanos>(e.round_trips.mean()))));
    if (late.both) {
      const bool only = late.measured > 5 * late.others;
      h.fact(only, form.only_cells,
             only ? "answers that tell of cells are late, others are not"
                  : "answers that tell of no cell are late as well");
    }
    if (!every_time) {
      h.fact(late.same, form.same,
             late.same ? "all are held up for the same time" : "the times by which they are held up differ");
    }
    if (late.at_rest > 0) {
      h.fact(grows, form.grows,
             grows ? fmt::format("answers in time leave after {} at rest and after {} with {} balancing",
                                 words::span(static_cast<Nanos>(late.at_rest)),
                                 words::span(static_cast<Nanos>(late.at_most)),
                                 bin_text(Condition::balancing, late.most_bin))
                   : "");
    }
    h.fact(longer, form.longer, longer ? "longer answers are late more often" : "");
    h.fact(every_time, form.every_time, every_time ? "the same plan entries are late at every turn" : "");
    GoesWith with;
    if (form.mechanism == Mechanism::busy_node || form.mechanism == Mechanism::measurement) {
      with.balancing = with.charge = with.temperature = 0.3;
    }
    expect_conditions(h, f, with);
    all.push_back(std::move(h));
  }
  return all;
}

}  // namespace hopbench
