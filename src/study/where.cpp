#include "study/where.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "judge/outliers.h"
#include "study/burst_words.h"
#include "study/cases.h"
#include "study/node_excess.h"
#include "study/words.h"

namespace hopbench {
namespace {

std::string of_tries(double failed, double asked) {
  const auto whole = [](double value) { return static_cast<std::uint64_t>(std::llround(value)); };
  return fmt::format("{} of {} first tries, {}", words::count(whole(failed)), words::count(whole(asked)),
                     words::share_with_limits(whole(failed), whole(asked)));
}

/// In a line, what fails from one node on fails on the way to it.
std::string step_in(const Evidence& evidence) {
  const auto step = line_step(evidence);
  if (!step) return {};
  const auto& nodes = evidence.run.nodes;
  return fmt::format(
      "Failures step up along the line: {} as far as {}; {} from {} on (p {}). Much of what fails is between {} and "
      "{}, "
      "out or back.",
      of_tries(step->near_failed, step->near_asked), nodes[step->node - 1U],
      of_tries(step->far_failed, step->far_asked), nodes[step->node], words::chance(step->adjusted_p),
      step->first >= 1 ? nodes[step->first - 1U] : evidence.run.controller, nodes[step->last]);
}

std::vector<NodeFinding> nodes_in(const Evidence& evidence) {
  const auto excesses = node_excesses(evidence);
  const auto& nodes = evidence.run.nodes;
  std::vector<NodeFinding> findings;
  for (const auto& excess : excesses.found) {
    if (findings.size() == 3) break;
    NodeFinding finding{excess.node, excess.alike, excess.adjusted_p, {}};
    finding.sentence = fmt::format(
        "{} fails more often than the nodes before and after it that are asked the same: {}; with the others {} (p {}, "
        "corrected for {} nodes, by blocks of {}). It is {} or what only its frames meet.",
        nodes[excess.node], of_tries(excess.failed, excess.asked), of_tries(excess.others_failed, excess.others_asked),
        words::chance(excess.adjusted_p), excesses.tested, words::span(excesses.block), nodes[excess.node]);
    if (!excess.alike.empty()) {
      std::vector<std::string> names;
      for (const auto other : excess.alike) names.push_back(nodes[other]);
      finding.sentence += fmt::format(" {} cannot be told from it.", words::list(names));
    }
    findings.push_back(std::move(finding));
  }
  return findings;
}

std::string silent_in(const Evidence& evidence) {
  if (evidence.tallied > 0 || evidence.missing_spans > 0) return {};
  const auto silent = never_answered(evidence);
  if (silent.empty()) return {};
  std::vector<std::string> names;
  for (std::size_t i = 0; i < std::min<std::size_t>(silent.size(), 3); ++i) {
    names.push_back(evidence.run.nodes[silent[i]]);
  }
  if (silent.size() > 3)
    return fmt::format("{} of {} nodes never gave a good answer, {} among them.", silent.size(),
                       evidence.run.nodes.size(), names.front());
  return fmt::format("{} never gave a good answer.", words::list(names));
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
        "{} counted {} damaged of {} frames that came to it, {} (p {}, corrected for {} nodes): they are damaged on "
        "the hop "
        "into it, or before it if what comes before passes bad frames on.",
        evidence.run.nodes[outlier.index], words::count(each.damaged), words::count(each.damaged + each.heard),
        words::share_with_limits(each.damaged, each.damaged + each.heard), words::chance(outlier.adjusted_p),
        hits.size()));
  }
  if (sentences.empty() && damaged > 0) {
    sentences.push_back(fmt::format("Nodes counted {} damaged frames in all; none counted more than the others.",
                                    words::count(damaged)));
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
        "{} loses more than the others: {} of {} frames not heard well, {}; {}.", words::hop(evidence.run, each.link),
        words::count(hop.lost), words::count(hop.frames), words::share_with_limits(hop.lost, hop.frames),
        each.adjusted_p > 0
            ? fmt::format("p {}, corrected for {} hops", words::chance(hop.adjusted_p), evidence.links.size())
            : in_one_stretch(evidence, each));
    hop.sentence.front() = 'H';
    where.hops.push_back(std::move(hop));
  }
  if (evidence.failures == 0) return where;
  if (evidence.sight != Sight::controller_only) {
    if (outstanding.empty()) where.sentences.emplace_back("No hop loses more than the others.");
    return where;
  }
  const bool ring = in_one_silence(evidence);
  if (counters != nullptr) where.sentences = counted(evidence, *counters);
  where.nodes = nodes_in(evidence);
  for (const auto& node : where.nodes) where.sentences.push_back(node.sentence);
  if (auto silent = silent_in(evidence); !silent.empty()) where.sentences.push_back(std::move(silent));
  if (!ring) {
    if (auto step = step_in(evidence); !step.empty()) where.sentences.push_back(std::move(step));
  }
  if (where.sentences.empty()) {
    where.sentences.emplace_back(
        ring ? "On which hop cannot be told: in a ring every frame passes every hop, and the controller sees only what "
               "comes out."
             : "On which hop cannot be told: nodes far and near fail about equally often.");
    where.next = {
        fmt::format("To tell: {}listen in the middle of the chain with an isolated tap.",
                    told_already(counters) ? "" : "have nodes asked for their own counters of bad frames, or "),
        true};
  }
  for (auto& sentence : stretch_sentences(evidence)) where.sentences.push_back(std::move(sentence));
  return where;
}

}  // namespace hopbench
