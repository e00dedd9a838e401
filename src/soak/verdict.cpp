#include "soak/verdict.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "judge/clusters.h"
#include "judge/independence.h"

namespace hopbench {
namespace {

/// Whether hits are independent is decided at this level, over all that was looked at.
constexpr double level = 0.01;
/// Fewer stretches tell nothing of how much they vary.
constexpr std::size_t least_stretches = 8;

/// Each two neighbours as one; what is left alone at the end is added to the last.
std::vector<Counted> joined(const std::vector<Counted>& each) {
  std::vector<Counted> pairs(each.size() / 2);
  for (std::size_t i = 0; i < each.size() && !pairs.empty(); ++i) {
    Counted& pair = pairs[std::min(i / 2, pairs.size() - 1)];
    pair.hits += each[i].hits;
    pair.trials += each[i].trials;
  }
  return pairs;
}

/// How many fail together on average, at most, with 95 % confidence: each hit is followed by another with one chance,
/// of which this is the upper limit after Clopper and Pearson. Without a hit, or where nobody counts bursts, what is
/// assumed. 1 if that is 1: independent, as far as nothing speaks against it.
double together(const SoakCount& counted, std::uint32_t bunch) {
  if (bunch == 1) return 1;
  if (counted.hits == 0 || counted.runs == 0) return std::max(1.0, static_cast<double>(bunch));
  const auto followed = share_of(counted.hits - std::min(counted.runs, counted.hits), counted.hits, 0.9);
  return 1 / std::max(1 - followed->high, 1e-6);
}

/// Of bursts of random length with this mean (each hit followed by another with the same chance) the number of hits
/// varies by E[L^2] / E[L] = 2 mean - 1 times as much as of single ones. Without a hit it is the bursts that are
/// missing.
double worth_of(const SoakCount& counted, double together) { return counted.hits == 0 ? together : 2 * together - 1; }

double as_share(Ppq share) { return static_cast<double>(share) / static_cast<double>(certain); }

}  // namespace

SharePlan share_plan(const Requirement& requirement) {
  return {as_share(requirement.acceptable), as_share(requirement.term.value), as_share(requirement.reject_risk),
          as_share(requirement.accept_risk)};
}

void Decided::keep(Archive& archive) {
  auto which = static_cast<std::uint8_t>(decision);
  archive.number("decision", which, std::uint8_t{0}, static_cast<std::uint8_t>(Ruling::rejected));
  decision = static_cast<Ruling>(which);
  archive.span("decided at", at);
  counted.keep(archive);
}

Grounds grounds_of(const Stretches& stretches, std::size_t requirement, const SoakCount& so_far, std::uint32_t bunch,
                   double rejectable) {
  Grounds grounds;
  const auto each_stretch = stretches.of(requirement);
  for (auto at = each_stretch.rbegin(); at != each_stretch.rend(); ++at) {
    if (at->trials <= 0) continue;
    if (at->share() < rejectable) break;
    ++grounds.lasting;
  }
  grounds.counted = stretches.cycles() ? stretches.at_border(requirement) : so_far;
  const SoakCount& counted = grounds.counted;
  grounds.together = together(counted, bunch);
  grounds.worth = worth_of(counted, grounds.together);
  if (counted.hits < least_hits) return grounds;
  if (counted.runs > 0) grounds.few_runs = few_runs(counted.hits, counted.trials, counted.runs);
  const auto whole = each_stretch;
  std::vector<std::vector<Counted>> lengths{{whole.begin(), whole.end()}};
  while (lengths.back().size() >= 2 * least_stretches) lengths.push_back(joined(lengths.back()));
  for (const auto& each : lengths) grounds.uneven = std::min(grounds.uneven, dispersion_of(each).p);
  grounds.uneven = std::min(1.0, grounds.uneven * static_cast<double>(lengths.size()));
  grounds.bunched = std::min(grounds.few_runs, grounds.uneven) * 2 < level;
  if (!grounds.bunched) return grounds;

  const std::size_t least = stretches.cycles() ? least_cycles : least_stretches;
  if (whole.size() < least) {
    grounds.worth = 0;
    return grounds;
  }
  if (bunch == 1) {
    grounds.together = together(counted, 0);
    grounds.worth = worth_of(counted, grounds.together);
  }
  for (const auto& each : lengths) {
    double trials = 0;
    for (const auto& stretch : each) trials += stretch.trials;
    const double worth_as_many = effective_trials(each);
    if (worth_as_many > 0) grounds.worth = std::max(grounds.worth, trials / worth_as_many);
  }
  return grounds;
}

bool lasts(const Stretches& stretches, const Grounds& grounds, const SharePlan& plan) {
  if (static_cast<double>(grounds.counted.hits) < plan.rejectable * static_cast<double>(grounds.counted.trials))
    return false;
  const std::size_t least = stretches.cycles() ? least_cycles : least_stretches;
  if (grounds.lasting < least) return false;
  const double chance = std::pow(plan.acceptable / plan.rejectable, static_cast<double>(grounds.lasting));
  return chance * static_cast<double>(stretches.count()) <= plan.reject_risk;
}

Ruling verdict_of(std::span<const RequirementState> states) {
  bool all = !states.empty();
  for (const auto& state : states) {
    if (state.decided.decision == Ruling::rejected) return Ruling::rejected;
    all = all && state.decided.decision == Ruling::accepted;
  }
  return all ? Ruling::accepted : Ruling::undecided;
}

}  // namespace hopbench
