#include "study/node_excess.h"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <map>
#include <set>
#include <string>
#include <tuple>

#include "judge/holm.h"

namespace hopbench {
namespace {

constexpr double family_wise = 0.01;
constexpr double least_failed = 5;
constexpr std::size_t least_blocks = 8;
constexpr double least_ratio = 2;

/// First tries of one node that are asked the same as others: topic, and lengths of ask and answer.
struct Cell {
  double asked = 0;
  double failed = 0;
};
struct Stratum {
  bool answer_longer = true;
  std::map<std::uint16_t, std::vector<Cell>> nodes;  // by block
};

using Field = std::uint32_t FirstTries::Count::*;

std::uint16_t place_of_node(const RunInfo& run, const std::string& name) {
  const auto found = std::find(run.nodes.begin(), run.nodes.end(), name);
  return found == run.nodes.end() ? no_station : static_cast<std::uint16_t>(found - run.nodes.begin());
}

std::vector<Stratum> strata_of(const Evidence& evidence, Field failed) {
  const FirstTries& tries = evidence.bursts.first_tries;
  std::map<std::tuple<std::string, std::uint32_t, std::uint32_t>, Stratum> strata;
  for (std::size_t entry = 0; entry < std::min(tries.entries(), evidence.run.entries.size()); ++entry) {
    const auto& info = evidence.run.entries[entry];
    const auto node = place_of_node(evidence.run, info.node);
    const auto lengths = tries.lengths(entry);
    if (node == no_station || lengths.answer == 0) continue;
    Stratum& stratum = strata[{info.topic, lengths.ask, lengths.answer}];
    stratum.answer_longer = lengths.answer >= lengths.ask;
    auto& cells = stratum.nodes[node];
    cells.resize(tries.blocks());
    for (std::size_t block = 0; block < tries.blocks(); ++block) {
      const auto& count = tries.of(block, entry);
      cells[block].asked += count.asked;
      cells[block].failed += count.*failed;
    }
  }
  std::vector<Stratum> all;
  for (auto& [key, stratum] : strata) all.push_back(std::move(stratum));
  return all;
}

struct Compared {
  Cell own;
  Cell others;
  double expected = 0;  // failures of its own, at the others' rate
  double p = 1;         // one-sided
};

/// One-sided: by blocks, and as if tries were independent; the larger of the two.
double chance_of(const std::vector<double>& scores, double failed, double share, double all) {
  const auto n = static_cast<double>(scores.size());
  if (scores.size() < least_blocks || failed < least_failed) return 1;
  double mean = 0;
  for (const double score : scores) mean += score / n;
  double squares = 0;
  for (const double score : scores) squares += (score - mean) * (score - mean);
  if (mean <= 0) return 1;
  double by_block = 0;
  if (squares > 1e-12 * mean * mean) {
    const boost::math::students_t_distribution<double> student(n - 1);
    by_block = boost::math::cdf(boost::math::complement(student, mean / std::sqrt(squares / (n - 1) / n)));
  }
  const boost::math::binomial_distribution<double> chance(all, std::clamp(share, 0.0, 1.0));
  return std::max(by_block, boost::math::cdf(boost::math::complement(chance, std::max(0.0, failed - 1))));
}

/// `node` against those for which `other` holds, in strata that have answers longer than asks, or shorter ones.
template <class Other>
Compared compare(const std::vector<Stratum>& strata, std::size_t blocks, bool answer_longer, std::uint16_t node,
                 Other other) {
  Compared out;
  std::vector<double> score(blocks, 0);
  std::vector<bool> counts(blocks, false);
  double share_sum = 0;
  for (const Stratum& stratum : strata) {
    const auto own = stratum.nodes.find(node);
    if (stratum.answer_longer != answer_longer || own == stratum.nodes.end()) continue;
    Cell mine_all;
    Cell others_all;
    for (std::size_t block = 0; block < blocks; ++block) {
      const Cell& mine = own->second[block];
      Cell others;
      for (const auto& [each, cells] : stratum.nodes) {
        if (each == node || !other(each)) continue;
        others.asked += cells[block].asked;
        others.failed += cells[block].failed;
      }
      if (mine.asked <= 0 || others.asked <= 0) continue;
      counts[block] = true;
      score[block] += mine.failed - (mine.failed + others.failed) * mine.asked / (mine.asked + others.asked);
      mine_all.asked += mine.asked;
      mine_all.failed += mine.failed;
      others_all.asked += others.asked;
      others_all.failed += others.failed;
    }
    if (others_all.asked <= 0) continue;
    out.own.asked += mine_all.asked;
    out.own.failed += mine_all.failed;
    out.others.asked += others_all.asked;
    out.others.failed += others_all.failed;
    out.expected += mine_all.asked * others_all.failed / others_all.asked;
    share_sum += (mine_all.failed + others_all.failed) * mine_all.asked / (mine_all.asked + others_all.asked);
  }
  std::vector<double> used;
  for (std::size_t block = 0; block < blocks; ++block) {
    if (counts[block]) used.push_back(score[block]);
  }
  const double all = out.own.failed + out.others.failed;
  if (all > 0 && out.own.failed >= least_ratio * out.expected) {
    out.p = chance_of(used, out.own.failed, share_sum / all, all);
  }
  return out;
}

/// Most first tries fail, and hardly any retry does: something that sleeps, and that the first request after a silence
/// wakes. Whichever node is asked then looks guilty.
bool wakes(const Evidence& evidence, const NodeExcess& excess) {
  if (evidence.tries <= evidence.exchanges || excess.failed < 0.5 * excess.asked) return false;
  double first = 0;
  double again = 0;
  for (const Incident& incident : evidence.incidents) {
    if (incident.node != excess.node) continue;
    (incident.attempt == 0 ? first : again) += 1;
  }
  return again < 0.1 * first;
}

}  // namespace

NodeExcesses node_excesses(const Evidence& evidence) {
  NodeExcesses out;
  const FirstTries& tries = evidence.bursts.first_tries;
  out.block = tries.block_span();
  if (!evidence.rates_known() || tries.blocks() < least_blocks) return out;
  const auto blocks = tries.blocks();
  const std::array<std::vector<Stratum>, 2> views{strata_of(evidence, &FirstTries::Count::failed),
                                                  strata_of(evidence, &FirstTries::Count::failed_after_good)};
  std::vector<double> p;
  std::vector<NodeExcess> each;
  for (std::uint16_t node = 0; node < evidence.run.nodes.size(); ++node) {
    double best = 1;
    NodeExcess excess;
    excess.node = node;
    bool tested = false;
    for (const bool longer : {true, false}) {
      // Above both sides, and not only where something else had gone wrong before.
      double worst = 0;
      for (const auto& strata : views) {
        const auto near = compare(strata, blocks, longer, node, [&](std::uint16_t other) { return other < node; });
        const auto far = compare(strata, blocks, longer, node, [&](std::uint16_t other) { return other > node; });
        worst = std::max({worst, near.p, far.p});
        tested = tested || (near.others.asked > 0 && far.others.asked > 0);
        if (&strata != &views.front()) continue;
        if (worst < best) {
          excess.failed = near.own.failed;
          excess.asked = near.own.asked;
          excess.others_failed = near.others.failed + far.others.failed;
          excess.others_asked = near.others.asked + far.others.asked;
        }
      }
      best = std::min(best, std::min(1.0, 2 * worst));
    }
    if (!tested) continue;
    p.push_back(best);
    each.push_back(excess);
  }
  out.tested = p.size();
  const auto adjusted = holm(p);
  for (std::size_t i = 0; i < each.size(); ++i) {
    if (adjusted[i] > family_wise || wakes(evidence, each[i])) continue;
    each[i].adjusted_p = adjusted[i];
    out.found.push_back(each[i]);
  }
  std::stable_sort(out.found.begin(), out.found.end(),
                   [](const NodeExcess& a, const NodeExcess& b) { return a.adjusted_p < b.adjusted_p; });
  for (auto& found : out.found) {
    for (const int step : {-1, 1}) {
      for (int node = found.node + step; node >= 0 && node < static_cast<int>(evidence.run.nodes.size());
           node += step) {
        const auto other = static_cast<std::uint16_t>(node);
        double p_apart = 1;
        bool comparable = false;
        for (const bool longer : {true, false}) {
          const auto against =
              compare(views.front(), blocks, longer, found.node, [&](std::uint16_t only) { return only == other; });
          comparable = comparable || against.others.asked > 0;
          p_apart = std::min(p_apart, against.p);
        }
        if (comparable && p_apart < family_wise) break;
        found.alike.push_back(other);
        if (found.alike.size() >= 6) break;
      }
    }
    std::sort(found.alike.begin(), found.alike.end());
  }
  return out;
}

namespace {

double log_likelihood(const std::vector<Stratum>& strata, std::size_t from) {
  double sum = 0;
  for (const Stratum& stratum : strata) {
    double near_failed = 0;
    double near_way = 0;
    double far_failed = 0;
    double far_way = 0;
    double far_asked = 0;
    std::map<std::uint16_t, Cell> totals;
    for (const auto& [node, cells] : stratum.nodes) {
      Cell& total = totals[node];
      for (const Cell& cell : cells) {
        total.asked += cell.asked;
        total.failed += cell.failed;
      }
      const double hops = node + 1.0;
      (node < from ? near_failed : far_failed) += total.failed;
      (node < from ? near_way : far_way) += total.asked * hops;
      if (node >= from) far_asked += total.asked;
    }
    double rate = near_way > 0 ? near_failed / near_way : 0;
    double step = far_asked > 0 ? (far_failed - rate * far_way) / far_asked : 0;
    if (step < 0) {
      rate = (near_failed + far_failed) / std::max(1.0, near_way + far_way);
      step = 0;
    }
    for (const auto& [node, total] : totals) {
      const double expected = total.asked * (rate * (node + 1.0) + (node >= from ? step : 0));
      if (expected > 0) sum += total.failed * std::log(expected) - expected;
      if (expected <= 0 && total.failed > 0) sum -= 20 * total.failed;
    }
  }
  return sum;
}

}  // namespace

std::optional<LineStep> line_step(const Evidence& evidence) {
  const FirstTries& tries = evidence.bursts.first_tries;
  const auto blocks = tries.blocks();
  const auto nodes = evidence.run.nodes.size();
  if (!evidence.rates_known() || blocks < least_blocks || nodes < 2) return std::nullopt;
  const auto strata = strata_of(evidence, &FirstTries::Count::failed);
  std::vector<double> p;
  std::vector<LineStep> steps;
  double fano_sum = 0;
  double mean_sum = 0;
  for (std::size_t from = 1; from < nodes; ++from) {
    LineStep step;
    step.node = static_cast<std::uint16_t>(from);
    std::vector<double> scores;
    double expected_far = 0;
    double comparable = 0;
    for (std::size_t block = 0; block < blocks; ++block) {
      double score = 0;
      bool counts = false;
      for (const Stratum& stratum : strata) {
        Cell near;
        Cell far;
        double near_way = 0;
        double far_way = 0;
        for (const auto& [node, cells] : stratum.nodes) {
          const Cell& cell = cells[block];
          auto& side = node < from ? near : far;
          side.asked += cell.asked;
          side.failed += cell.failed;
          (node < from ? near_way : far_way) += cell.asked * (node + 1.0);
        }
        if (near_way <= 0 || far_way <= 0) continue;
        counts = true;
        const double share = far_way / (near_way + far_way);
        score += far.failed - (near.failed + far.failed) * share;
        expected_far += (near.failed + far.failed) * share;
        comparable += near.failed + far.failed;
        step.near_failed += near.failed;
        step.near_asked += near.asked;
        step.far_failed += far.failed;
        step.far_asked += far.asked;
      }
      if (counts) scores.push_back(score);
    }
    double chance = 1;
    if (comparable > 0) chance = chance_of(scores, step.far_failed, expected_far / comparable, comparable);
    p.push_back(chance);
    steps.push_back(step);
  }
  const auto adjusted = holm(p);
  std::vector<double> fit;
  for (std::size_t from = 1; from < nodes; ++from) fit.push_back(log_likelihood(strata, from));
  const auto best = static_cast<std::size_t>(std::max_element(fit.begin(), fit.end()) - fit.begin());
  if (adjusted[best] > family_wise) return std::nullopt;
  // Failures in bunches say less than as many single ones.
  std::vector<double> by_block(blocks, 0);
  for (std::size_t block = 0; block < blocks; ++block) {
    for (const Stratum& stratum : strata) {
      for (const auto& [node, cells] : stratum.nodes) by_block[block] += cells[block].failed;
    }
    mean_sum += by_block[block] / static_cast<double>(blocks);
  }
  for (const double each : by_block) {
    fano_sum += (each - mean_sum) * (each - mean_sum) / static_cast<double>(blocks - 1);
  }
  const double spread = std::max(1.0, mean_sum > 0 ? fano_sum / mean_sum : 1.0);
  constexpr double as_likely = 5;  // 2 x 5 is beyond the 0.2 % point of chi-squared with one degree of freedom
  LineStep found = steps[best];
  found.adjusted_p = adjusted[best];
  std::size_t first = best;
  std::size_t last = best;
  for (std::size_t i = 0; i < fit.size(); ++i) {
    if (fit[i] < fit[best] - as_likely * spread) continue;
    first = std::min(first, i);
    last = std::max(last, i);
  }
  found.first = static_cast<std::uint16_t>(first + 1);
  found.last = static_cast<std::uint16_t>(last + 1);
  return found;
}

std::vector<std::uint16_t> never_answered(const Evidence& evidence) {
  const auto nodes = evidence.run.nodes.size();
  std::vector<double> asked(nodes, 0);
  std::vector<double> failed(nodes, 0);
  for (std::size_t i = 0; i < std::min(evidence.entries.size(), evidence.run.entries.size()); ++i) {
    const auto node = place_of_node(evidence.run, evidence.run.entries[i].node);
    if (node == no_station) continue;
    asked[node] += static_cast<double>(evidence.entries[i].tries);
    failed[node] += static_cast<double>(evidence.entries[i].failures);
  }
  std::vector<std::uint16_t> silent;
  for (std::size_t node = 0; node < nodes; ++node) {
    if (asked[node] >= 10 && failed[node] >= asked[node]) silent.push_back(static_cast<std::uint16_t>(node));
  }
  return silent.size() == nodes ? std::vector<std::uint16_t>{} : silent;
}

}  // namespace hopbench
