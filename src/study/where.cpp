#include "study/where.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "judge/outliers.h"
#include "study/cases.h"
#include "study/words.h"

namespace hopbench {
namespace {

struct NodeRate {
  double tries = 0;
  double failures = 0;
};

std::vector<NodeRate> rates_by_node(const Evidence& evidence) {
  std::vector<NodeRate> rates(evidence.run.nodes.size());
  for (std::size_t i = 0; i < evidence.entries.size(); ++i) {
    const auto& nodes = evidence.run.nodes;
    const auto node = std::find(nodes.begin(), nodes.end(), evidence.run.entries[i].node);
    if (node == nodes.end()) continue;
    auto& rate = rates[static_cast<std::size_t>(node - nodes.begin())];
    rate.tries += static_cast<double>(evidence.entries[i].tries);
    rate.failures += static_cast<double>(evidence.entries[i].failures);
  }
  return rates;
}

double log_likelihood(double failures, double tries) {
  if (tries <= 0 || failures <= 0 || failures >= tries) return 0;
  const double share = failures / tries;
  return failures * std::log(share) + (tries - failures) * std::log(1 - share);
}

/// In a line, what fails from one node on fails on the way to it.
std::string step_in(const Evidence& evidence) {
  const auto rates = rates_by_node(evidence);
  NodeRate all;
  for (const auto& rate : rates) {
    all.tries += rate.tries;
    all.failures += rate.failures;
  }
  std::vector<double> gain(rates.size(), 0);
  NodeRate near;
  std::size_t best = 0;
  for (std::size_t k = 1; k < rates.size(); ++k) {
    near.tries += rates[k - 1].tries;
    near.failures += rates[k - 1].failures;
    const double far_tries = all.tries - near.tries;
    const double far_failures = all.failures - near.failures;
    if (far_tries <= 0 || near.tries <= 0 || far_failures / far_tries <= near.failures / near.tries) continue;
    gain[k] = log_likelihood(near.failures, near.tries) + log_likelihood(far_failures, far_tries) -
              log_likelihood(all.failures, all.tries);
    if (gain[k] > gain[best]) best = k;
  }
  // Twice the gain is compared with the 0.1 % point of chi-squared, over all places that it could have been at.
  if (best == 0 || 2 * gain[best] < 10.83 + 2 * std::log(static_cast<double>(rates.size()))) return {};
  std::size_t first = best;
  std::size_t last = best;
  constexpr double as_likely = 2;
  while (first > 1 && gain[first - 1] > gain[best] - as_likely) --first;
  while (last + 1 < rates.size() && gain[last + 1] > gain[best] - as_likely) ++last;
  NodeRate before;
  for (std::size_t i = 0; i < best; ++i) {
    before.tries += rates[i].tries;
    before.failures += rates[i].failures;
  }
  const auto whole = [](double value) { return static_cast<std::uint64_t>(value); };
  const auto& nodes = evidence.run.nodes;
  return fmt::format(
      "Failures step up along the line: {} of tries as far as {}, {} from {} on. What fails lies between {} and {}, "
      "there "
      "or back.",
      words::share_with_limits(whole(before.failures), whole(before.tries)), nodes[best - 1],
      words::share_with_limits(whole(all.failures - before.failures), whole(all.tries - before.tries)), nodes[best],
      first >= 1 ? nodes[first - 1] : evidence.run.controller, nodes[last]);
}

/// One node asked fails more often than the others.
std::vector<std::string> nodes_in(const Evidence& evidence) {
  std::vector<double> hits;
  std::vector<double> trials;
  for (const auto& rate : rates_by_node(evidence)) {
    hits.push_back(rate.failures);
    trials.push_back(std::max(rate.tries, rate.failures));
  }
  std::vector<std::string> sentences;
  for (const auto& outlier : outliers(hits, trials)) {
    if (sentences.size() == 3) break;
    sentences.push_back(fmt::format(
        "Exchanges with {} fail more often than others: {} of tries (p {} after Holm over {} nodes): it is about that "
        "node or what is sent to and from it alone.",
        evidence.run.nodes[outlier.index],
        words::share_with_limits(static_cast<std::uint64_t>(hits[outlier.index]),
                                 static_cast<std::uint64_t>(trials[outlier.index])),
        words::chance(outlier.adjusted_p), hits.size()));
  }
  return sentences;
}

std::vector<std::string> counted(const Evidence& evidence, const std::vector<NodeCounters>& counters) {
  std::vector<double> hits;
  std::vector<double> trials;
  std::uint64_t damaged = 0;
  bool told = false;
  for (const auto& each : counters) {
    hits.push_back(static_cast<double>(each.damaged));
    trials.push_back(static_cast<double>(each.damaged + each.heard));
    damaged += each.damaged;
    told = told || each.told > 1;
  }
  std::vector<std::string> sentences;
  if (!told || hits.size() < 2) return sentences;
  for (const auto& outlier : outliers(hits, trials)) {
    if (sentences.size() == 3) break;
    const auto& each = counters[outlier.index];
    sentences.push_back(fmt::format(
        "{} counted {} damaged of {} frames that came to it, {} (p {} after Holm over {} nodes): they are damaged on "
        "the hop "
        "into it, or before it if what comes before passes bad frames on.",
        evidence.run.nodes[outlier.index], words::count(each.damaged), words::count(each.damaged + each.heard),
        words::share_with_limits(each.damaged, each.damaged + each.heard), words::chance(outlier.adjusted_p),
        hits.size()));
  }
  if (sentences.empty() && damaged > 0) {
    sentences.push_back(
        fmt::format("Nodes counted {} damaged frames in all; none of them stands out.", words::count(damaged)));
  }
  if (damaged == 0) {
    sentences.emplace_back(
        "No node counted a damaged frame: what is missing ended unheard, or after the last node, or was never sent.");
  }
  for (std::size_t i = 0; i < counters.size() && sentences.size() < 6; ++i) {
    if (counters[i].restarts == 0) continue;
    sentences.push_back(fmt::format("The counters of {} began anew {}: it was restarted.", evidence.run.nodes[i],
                                    words::counted(counters[i].restarts, "time")));
  }
  return sentences;
}

/// Of a sample its size is named, since the sentence counts all frames otherwise.
std::string in_one_stretch(const Evidence& evidence, const StandOut& each) {
  if (!is_sample(evidence)) return fmt::format("{} of them in one stretch", words::count(each.in_a_row));
  return words::of_failures(evidence, each.in_a_row) + " failures in one stretch";
}

}  // namespace

Where where_of(const Evidence& evidence, const std::vector<StandOut>& outstanding,
               const std::vector<NodeCounters>* counters) {
  Where where;
  for (const auto& each : outstanding) {
    const auto& link = evidence.links[each.link];
    HopFinding hop{each.link, link.bad(), link.frames, each.adjusted_p, {}};
    hop.sentence = fmt::format(
        "{} stands out: {} of {} frames not heard well, {}; {}.", words::hop(evidence.run, each.link),
        words::count(hop.lost), words::count(hop.frames), words::share_with_limits(hop.lost, hop.frames),
        each.adjusted_p > 0
            ? fmt::format("p {} after Holm over {} hops", words::chance(hop.adjusted_p), evidence.links.size())
            : in_one_stretch(evidence, each));
    hop.sentence.front() = 'H';
    where.hops.push_back(std::move(hop));
  }
  if (evidence.failures == 0) return where;
  if (evidence.sight != Sight::controller_only) {
    if (outstanding.empty()) where.sentences.emplace_back("No hop stands out from the others.");
    return where;
  }
  const bool ring = std::none_of(evidence.run.links.begin(), evidence.run.links.end(),
                                 [](const LinkInfo& link) { return link.homeward; });
  if (counters != nullptr) where.sentences = counted(evidence, *counters);
  if (!ring) {
    if (auto step = step_in(evidence); !step.empty()) where.sentences.push_back(std::move(step));
  } else {
    for (auto& sentence : nodes_in(evidence)) where.sentences.push_back(std::move(sentence));
  }
  if (where.sentences.empty()) {
    where.sentences.emplace_back(
        ring ? "On which hop cannot be told: in a ring every frame passes every hop, and the controller sees only what "
               "comes out."
             : "On which hop cannot be told: nodes far and near fail about equally often.");
    where.next = {
        "To tell: have nodes asked for their own counters of bad frames, or listen in the middle of the chain with an "
        "isolated tap.",
        true};
  }
  return where;
}

}  // namespace hopbench
