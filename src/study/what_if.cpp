#include "study/what_if.h"

#include <algorithm>
#include <bit>
#include <boost/math/distributions/binomial.hpp>
#include <map>
#include <span>

#include "scenario/without.h"
#include "work/workers.h"

namespace hopbench {
namespace {

/// Two-sided, of as many coins thrown.
double sign_test(std::uint64_t heads, std::uint64_t tails) {
  const auto n = static_cast<double>(heads + tails);
  if (heads + tails == 0) return 1;
  const boost::math::binomial_distribution<double> coins(n, 0.5);
  return std::min(1.0, 2 * boost::math::cdf(coins, static_cast<double>(std::min(heads, tails))));
}

ByTurn turn_by_turn(const FailureSet& as_is, const FailureSet& other) {
  ByTurn result;
  for (const auto& [name, entry] : as_is.entries) {
    const auto found = other.entries.find(name);
    if (found == other.entries.end()) continue;
    const std::uint64_t both = std::min(entry.turns, found->second.turns);
    result.paired += both;
    for (const auto& [turn, at] : entry.failed) {
      if (turn < both) ++(found->second.failed.contains(turn) ? result.stayed : result.gone);
    }
    for (const auto& [turn, at] : found->second.failed) {
      if (turn < both && !entry.failed.contains(turn)) ++result.come;
    }
  }
  result.fewer = share_of(result.gone, result.gone + result.come);
  return result;
}

/// With fewer than six that differ not even six of six in one direction would tell anything at 95 %: 2 / 2^5 > 5 %.
constexpr std::uint64_t least_differing = 6;

Bearing bearing_of(const MechanismFinding& finding, std::uint64_t asked) {
  const Against& off = finding.off;
  if (off.pairs(asked)) return off.gone + off.come == 0 ? Bearing::none : Bearing::changes;
  if (finding.only.failed > 0) return Bearing::changes;
  if (off.by_turn.gone + off.by_turn.come == 0) return Bearing::only_shifts_times;
  if (off.by_turn.gone + off.by_turn.come < least_differing) return Bearing::too_few;
  const bool alike = off.by_turn.fewer->low <= 0.5 && off.by_turn.fewer->high >= 0.5;
  return alike ? Bearing::only_shifts_times : Bearing::changes;
}

Against lay_over(const FailureSet& as_is, const FailureSet& other) {
  Against result;
  result.asked = other.asked;
  result.failed = other.failed;
  for (const auto& [name, entry] : as_is.entries) {
    const auto found = other.entries.find(name);
    if (found == other.entries.end()) continue;
    result.in_step += entry.turns_in_step(found->second);
    for (const auto& [turn, at] : entry.failed) {
      if (!entry.in_step(found->second, turn)) continue;
      ++(found->second.failed.contains(turn) ? result.stayed : result.gone);
    }
    for (const auto& [turn, at] : found->second.failed) {
      if (entry.in_step(found->second, turn) && !entry.failed.contains(turn)) ++result.come;
    }
  }
  result.by_turn = turn_by_turn(as_is, other);
  std::map<Nanos, std::int64_t> difference;
  for (const auto& [unit, failures] : as_is.by_unit) difference[unit] += static_cast<std::int64_t>(failures);
  for (const auto& [unit, failures] : other.by_unit) difference[unit] -= static_cast<std::int64_t>(failures);
  for (const auto& [unit, less] : difference) {
    if (less > 0) ++result.fewer_in;
    if (less < 0) ++result.more_in;
  }
  result.p = sign_test(result.fewer_in, result.more_in);
  result.fewer = share_of(result.fewer_in, result.fewer_in + result.more_in);
  return result;
}

/// Calls f(entry, turn) for each failure of the run as it is.
template <class F>
void each_failure(const FailureSet& as_is, F f) {
  for (const auto& [name, entry] : as_is.entries) {
    for (const auto& [turn, at] : entry.failed) f(name, turn);
  }
}

double rate(const FailureSet& set) {
  return set.asked == 0 ? 0 : static_cast<double>(set.failed) / static_cast<double>(set.asked);
}

double rate_of(const Against& run) {
  return run.asked == 0 ? 0 : static_cast<double>(run.failed) / static_cast<double>(run.asked);
}

/// Shapley, Contributions to the Theory of Games II (1953): the mean, over all orders in which mechanisms might be put
/// in, of what each adds to the failure rate. `by_set`: a run for each set, bit i of its index for mechanism i.
std::vector<double> shapley(std::span<const FailureSet> by_set, std::size_t mechanisms) {
  std::vector<double> weight(mechanisms);  // s! (n - s - 1)! / n!
  for (std::size_t s = 0; s < mechanisms; ++s) {
    double w = 1.0 / static_cast<double>(mechanisms);
    for (std::size_t i = 1; i <= s; ++i) w *= static_cast<double>(i) / static_cast<double>(mechanisms - i);
    weight[s] = w;
  }
  std::vector<double> added(mechanisms, 0.0);
  for (std::size_t set = 0; set < by_set.size(); ++set) {
    const auto size = static_cast<std::size_t>(std::popcount(set));
    for (std::size_t i = 0; i < mechanisms; ++i) {
      const std::size_t bit = std::size_t{1} << i;
      if ((set & bit) == 0) added[i] += weight[size] * (rate(by_set[set | bit]) - rate(by_set[set]));
    }
  }
  return added;
}

struct Runs {
  std::vector<ChainDescription> chains;
  std::size_t first_set = 0;
};

/// 0 as it is, 1 without all, then without and with only each, then the sets.
Runs runs_of(const ChainDescription& chain, const std::vector<Mechanism>& found, bool shares) {
  Runs runs;
  runs.chains.push_back(chain);
  runs.chains.push_back(without(chain, found));
  for (const Mechanism each : found) {
    runs.chains.push_back(without(chain, each));
    runs.chains.push_back(with_only(chain, std::span(&each, 1)));
  }
  runs.first_set = runs.chains.size();
  if (!shares) return runs;
  for (std::size_t set = 0; set < std::size_t{1} << found.size(); ++set) {
    std::vector<Mechanism> off;
    for (std::size_t i = 0; i < found.size(); ++i) {
      if ((set >> i & 1U) == 0) off.push_back(found[i]);
    }
    runs.chains.push_back(without(chain, off));
  }
  return runs;
}

}  // namespace

WhatIf what_if(const Protocol& protocol, const ChainDescription& chain, const WhatIfPlan& plan,
               const std::function<bool()>& stop,
               const std::function<void(std::size_t done, std::size_t runs)>& progress) {
  const std::vector<Mechanism> found = mechanisms_of(chain);
  const bool shares = plan.shares && found.size() <= most_for_shares;
  const Runs runs = runs_of(chain, found, shares);
  WhatIf result;
  if (plan.in_seat) result.reality = Reality::simulated_chain;
  const bool charged = chain.pack.battery.present && chain.pack.cycle.charge_ma > 0;
  result.unit = charged ? chain.pack.cycle.period : 86'400 * second;
  std::vector<FailureSet> sets(runs.chains.size());
  const auto run = [&](std::size_t i, const StopAsked& unneeded) {
    const Keep keep = i < runs.first_set ? Keep::identities : Keep::totals;
    sets[i] = failures_of(protocol, runs.chains[i], plan.seed, plan.bound, result.unit, keep, plan.in_seat, unneeded);
  };
  Workers workers(std::min(plan.threads, static_cast<unsigned>(sets.size())));
  if (!workers.each(sets.size(), run, stop, progress)) result.end = RunEnd::stopped;
  for (const FailureSet& set : sets) result.end = std::max(result.end, set.end);
  const FailureSet& as_is = sets[0];
  const FailureSet& none = sets[1];
  result.runs = sets.size();
  result.asked = as_is.asked;
  result.failed = as_is.failed;
  result.none_asked = none.asked;
  result.none_failed = none.failed;
  if (result.end != RunEnd::done) return result;

  const auto off = [&](std::size_t i) -> const FailureSet& { return sets[2 + 2 * i]; };
  const auto only = [&](std::size_t i) -> const FailureSet& { return sets[3 + 2 * i]; };
  std::vector<double> added;
  if (shares) added = shapley(std::span(sets).subspan(runs.first_set), found.size());
  for (std::size_t i = 0; i < found.size(); ++i) {
    MechanismFinding finding;
    finding.mechanism = found[i];
    finding.off = lay_over(as_is, off(i));
    finding.only = lay_over(as_is, only(i));
    each_failure(as_is, [&](const std::string& entry, std::uint64_t turn) {
      if (as_is.goes_in(off(i), entry, turn) && as_is.goes_in(only(i), entry, turn)) ++finding.not_alone;
    });
    finding.bearing = bearing_of(finding, as_is.asked);
    if (shares && as_is.failed > 0) finding.share = added[i] / rate(as_is);
    result.mechanisms.push_back(finding);
  }
  std::stable_sort(result.mechanisms.begin(), result.mechanisms.end(),
                   [](const auto& a, const auto& b) { return rate_of(a.off) < rate_of(b.off); });

  for (std::size_t i = 0; i < found.size(); ++i) {
    for (std::size_t j = i + 1; j < found.size(); ++j) {
      TogetherFinding finding{found[i], found[j], 0};
      each_failure(as_is, [&](const std::string& entry, std::uint64_t turn) {
        if (as_is.goes_in(off(i), entry, turn) && as_is.goes_in(off(j), entry, turn) &&
            as_is.goes_in(only(i), entry, turn) && as_is.goes_in(only(j), entry, turn))
          ++finding.failures;
      });
      if (finding.failures > 0) result.together.push_back(finding);
    }
  }
  std::stable_sort(result.together.begin(), result.together.end(),
                   [](const auto& a, const auto& b) { return a.failures > b.failures; });
  each_failure(as_is, [&](const std::string& entry, std::uint64_t turn) {
    bool single = false;
    for (std::size_t i = 0; i < found.size(); ++i) single = single || as_is.goes_in(off(i), entry, turn);
    if (!single && as_is.goes_in(none, entry, turn)) ++result.either;
  });
  return result;
}

std::string_view name_of(Bearing bearing) {
  switch (bearing) {
    case Bearing::changes:
      return "changes";
    case Bearing::only_shifts_times:
      return "only_shifts_times";
    case Bearing::too_few:
      return "too_few";
    case Bearing::none:
      break;
  }
  return "none";
}

}  // namespace hopbench
