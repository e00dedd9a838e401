#include "study/compare.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "judge/clusters.h"
#include "judge/holm.h"
#include "study/compare_power.h"
#include "study/compare_verdict.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr std::uint32_t least_cycles = 6;
constexpr std::size_t most_blocks = 64;  // of the longer capture
constexpr std::uint32_t draws_of_distributions = 999;

StreamKey luck_of(std::string_view what) { return Luck(0).stream(name_hash(what), Purpose::permutation, 0); }

using Clusters = std::vector<Cluster>;
template <class Get>
std::vector<Counted> of(const Clusters& clusters, Get get) {
  std::vector<Counted> all;
  for (const auto& each : clusters) all.push_back(get(each));
  return all;
}

/// Trials for what they are worth, at the same share.
Counted worth(const std::vector<Counted>& clusters, Counted all) {
  const double trials = effective_trials(clusters);
  return {all.share() * trials, trials};
}

double fisher_of(Counted before, Counted after) {
  const auto whole = [](double value) { return static_cast<std::uint64_t>(std::llround(value)); };
  return fisher_exact(whole(before.hits), whole(before.trials), whole(after.hits), whole(after.trials));
}

/// Everything but the p value by clusters.
SharePair pair_of(std::string name, const std::vector<Counted>& before, const std::vector<Counted>& after) {
  SharePair pair;
  pair.name = std::move(name);
  for (const auto& each : before) pair.before = {pair.before.hits + each.hits, pair.before.trials + each.trials};
  for (const auto& each : after) pair.after = {pair.after.hits + each.hits, pair.after.trials + each.trials};
  const auto first = worth(before, pair.before);
  const auto second = worth(after, pair.after);
  pair.difference = difference_of(first, second);
  pair.difference.value = pair.after.share() - pair.before.share();
  pair.fisher = fisher_of(pair.before, pair.after);
  pair.worth_before = first.trials;
  pair.worth_after = second.trials;
  return pair;
}

/// By Welch's test on whole clusters, and never below what independent trials would give: with a few failures in a
/// few clusters neither is to be trusted alone.
SharePair place_of(std::string name, const std::vector<Counted>& before, const std::vector<Counted>& after) {
  auto pair = pair_of(std::move(name), before, after);
  pair.p = std::max(pair.fisher, welch_by_cluster(before, after));
  return pair;
}

template <class Statistic>
Permuted split_test(const Clusters& before, const Clusters& after, std::string_view what, Statistic statistic,
                    std::uint32_t draws = 9999) {
  std::vector<const Cluster*> all;
  for (const auto& each : before) all.push_back(&each);
  for (const auto& each : after) all.push_back(&each);
  return permuted(
      before.size(), after.size(), [&](Split split) { return statistic(all, split); }, luck_of(what), draws);
}

Permuted share_test(const Clusters& before, const Clusters& after, std::string_view what, Counted Cluster::*which) {
  return split_test(before, after, what, [which](const std::vector<const Cluster*>& all, Split split) {
    std::array<Counted, 2> sums{};
    for (std::size_t i = 0; i < all.size(); ++i) {
      sums[split[i]].hits += (all[i]->*which).hits;
      sums[split[i]].trials += (all[i]->*which).trials;
    }
    return std::abs(sums[1].share() - sums[0].share());
  });
}

std::vector<Stratum> strata_of(const std::vector<const Cluster*>& all, Split split) {
  std::vector<Stratum> strata(bin_count);
  for (std::size_t i = 0; i < all.size(); ++i) {
    for (std::size_t bin = 0; bin < bin_count; ++bin) {
      const auto& more = all[i]->balancing[bin];
      auto& sum = split[i] == 0 ? strata[bin].first : strata[bin].second;
      sum.hits += more.hits;
      sum.trials += more.trials;
    }
  }
  return strata;
}

bool equal(const std::vector<Counted>& some, const std::vector<Counted>& others) {
  return std::equal(some.begin(), some.end(), others.begin(), others.end(),
                    [](Counted one, Counted other) { return one.hits == other.hits && one.trials == other.trials; });
}

/// What one topic of one, or one node of one, tells is what all tries tell: a test made already.
void mark_copy(SharePair& pair, const Clusters& first, const Clusters& second, const std::vector<Counted>& before,
               const std::vector<Counted>& after) {
  const auto tries = [](const Cluster& each) { return each.tries; };
  pair.same_as_tries = equal(before, of(first, tries)) && equal(after, of(second, tries));
}

void adjust(std::vector<SharePair>& group) {
  std::vector<double> p;
  for (const auto& each : group) {
    if (!each.same_as_tries) p.push_back(each.p);
  }
  const auto adjusted = holm(p);
  std::size_t next = 0;
  for (auto& each : group) {
    if (!each.same_as_tries) each.adjusted = adjusted[next++];
  }
}

std::vector<SharePair> hops_of(const Tallies& before, const Tallies& after, const Clusters& first,
                               const Clusters& second) {
  std::vector<SharePair> hops;
  for (std::size_t a = 0; a < before.run.links.size(); ++a) {
    const auto& link = before.run.links[a];
    const auto& others = after.run.links;
    const auto found = std::find_if(others.begin(), others.end(), [&](const LinkInfo& other) {
      return other.from == link.from && other.to == link.to && other.homeward == link.homeward;
    });
    if (found == others.end() || link.vantage == Vantage::unseen || found->vantage != link.vantage) continue;
    const auto b = static_cast<std::size_t>(found - others.begin());
    if (before.all.links[a].trials <= 0 || after.all.links[b].trials <= 0) continue;
    hops.push_back(place_of(words::hop(before.run, static_cast<std::uint16_t>(a)),
                            of(first, [&](const Cluster& each) { return each.links[a]; }),
                            of(second, [&](const Cluster& each) { return each.links[b]; })));
  }
  adjust(hops);
  return hops;
}

std::vector<SharePair> named(const std::vector<std::string>& before, const std::vector<std::string>& after,
                             const Clusters& first, const Clusters& second, std::vector<Counted> Cluster::*which) {
  std::vector<SharePair> group;
  for (std::size_t a = 0; a < before.size(); ++a) {
    const auto found = std::find(after.begin(), after.end(), before[a]);
    if (found == after.end()) continue;
    const auto b = static_cast<std::size_t>(found - after.begin());
    const auto earlier = of(first, [&](const Cluster& each) { return (each.*which)[a]; });
    const auto later = of(second, [&](const Cluster& each) { return (each.*which)[b]; });
    auto pair = place_of(before[a], earlier, later);
    mark_copy(pair, first, second, earlier, later);
    if (pair.before.trials > 0 && pair.after.trials > 0) group.push_back(std::move(pair));
  }
  adjust(group);
  return group;
}

/// What becomes of exchanges is no part of the verdict: a longer time-out makes lost ones late.
std::vector<SharePair> outcomes_of(const Clusters& first, const Clusters& second) {
  std::vector<SharePair> rows;
  for (std::size_t i = 0; i < outcome_count; ++i) {
    const auto outcome = static_cast<Outcome>(i);
    if (outcome == Outcome::answered) continue;
    const auto which = [&](const Cluster& each) { return each.outcomes[i]; };
    auto pair = place_of(words::spaced(name_of(outcome)), of(first, which), of(second, which));
    if (pair.before.hits + pair.after.hits > 0) rows.push_back(std::move(pair));
  }
  adjust(rows);
  return rows;
}

/// How far the shares would differ if it hung on nothing but how often each number of cells balanced.
double by_numbers_alone(const Tallies& before, const Tallies& after) {
  Counted first;
  Counted second;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    first.trials += before.all.balancing[bin].trials;
    second.trials += after.all.balancing[bin].trials;
  }
  double sum = 0;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    const auto a = before.all.balancing[bin];
    const auto b = after.all.balancing[bin];
    if (a.trials + b.trials <= 0) continue;
    const double share = (a.hits + b.hits) / (a.trials + b.trials);
    sum += share * (b.trials / second.trials - a.trials / first.trials);
  }
  return sum;
}

/// Numbers of cells balancing that either side had.
std::size_t bins_met(const Tallies& before, const Tallies& after) {
  std::size_t met = 0;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    if (before.all.balancing[bin].trials > 0 || after.all.balancing[bin].trials > 0) ++met;
  }
  return met;
}

void at_equal_balancing(Comparison& result, const Tallies& before, const Tallies& after, const Clusters& first,
                        const Clusters& second) {
  const auto known = [](const Tallies& side) {
    return std::any_of(side.all.balancing.begin(), side.all.balancing.end(),
                       [](const Counted& bin) { return bin.trials > 0; });
  };
  if (!known(before) || !known(after)) return;
  if (bins_met(before, after) < 2) return;  // all is at equal numbers as it is
  std::array<double, 2> sums{};
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    sums[0] += before.all.balancing[bin].trials;
    sums[1] += after.all.balancing[bin].trials;
  }
  result.overlap = 0;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    const auto a = before.all.balancing[bin];
    const auto b = after.all.balancing[bin];
    if (a.trials <= 0 && b.trials <= 0) continue;
    result.overlap += std::min(a.trials / std::max(1.0, sums[0]), b.trials / std::max(1.0, sums[1]));
    result.balancing.push_back(place_of(bin_text(Condition::balancing, bin),
                                        of(first, [&](const Cluster& each) { return each.balancing[bin]; }),
                                        of(second, [&](const Cluster& each) { return each.balancing[bin]; })));
    if (a.trials <= 0 || b.trials <= 0) result.balancing.back().p = 1;
  }
  adjust(result.balancing);
  const auto statistic = [](const std::vector<const Cluster*>& all, Split split) {
    return std::abs(common_difference(strata_of(all, split)).difference);
  };
  result.common_p = split_test(first, second, "compare: at equal balancing", statistic).p;
  std::vector<Stratum> strata;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    strata.push_back({before.all.balancing[bin], after.all.balancing[bin]});
  }
  result.common = common_difference(strata);
  // A tenth of what is to be told apart, or less, is nothing that a reader would call another number.
  constexpr double next_to_nothing = 0.1;
  const double apart = std::max(std::abs(result.tries.difference.value), std::abs(result.common.difference));
  constexpr double much_the_same = 0.95;
  result.equal_numbers =
      result.overlap >= much_the_same && std::abs(by_numbers_alone(before, after)) <= next_to_nothing * apart;
}

struct Distance {
  double apart = 0;
  Nanos at = 0;
};

Distance distance_of(const std::map<Nanos, std::array<double, 2>>& counts) {
  std::array<double, 2> all{};
  for (const auto& [at, both] : counts) {
    all[0] += both[0];
    all[1] += both[1];
  }
  Distance distance;
  if (all[0] <= 0 || all[1] <= 0) return distance;
  std::array<double, 2> below{};
  for (const auto& [at, both] : counts) {
    below[0] += both[0];
    below[1] += both[1];
    const double apart = std::abs(below[0] / all[0] - below[1] / all[1]);
    if (apart > distance.apart) distance = {apart, at};
  }
  return distance;
}

RoundTrips round_trips_of(const Tallies& before, const Tallies& after, const Clusters& first, const Clusters& second) {
  RoundTrips result;
  const auto& a = before.all.round_trips;
  const auto& b = after.all.round_trips;
  result.before = a.count();
  result.after = b.count();
  if (a.count() == 0 || b.count() == 0) return result;
  for (const std::uint32_t ppm : {500'000U, 900'000U, 990'000U, 999'000U, 1'000'000U}) {
    result.levels.push_back({ppm / 1e6, *a.percentile(ppm), *b.percentile(ppm)});
  }
  // Each bucket by its upper end, which is the same in all histograms.
  std::map<Nanos, std::array<double, 2>> counts;
  const auto measure = [&](const std::vector<const Cluster*>& all, Split split) {
    for (auto& [at, both] : counts) both = {};
    for (std::size_t i = 0; i < all.size(); ++i) {
      const auto& times = all[i]->round_trips;
      times.each_bucket([&](Nanos low, Nanos, std::uint64_t number) {
        counts[times.bucket_high(low)][split[i]] += static_cast<double>(number);
      });
    }
    return distance_of(counts);
  };
  const std::vector<const Cluster*> sides{&before.all, &after.all};
  const std::array<std::uint8_t, 2> as_is{0, 1};
  const auto seen = measure(sides, as_is);
  result.apart = seen.apart;
  result.apart_at = seen.at;
  result.p = split_test(
                 first, second, "compare: round trips",
                 [&](const std::vector<const Cluster*>& all, Split split) { return measure(all, split).apart; },
                 draws_of_distributions)
                 .p;
  return result;
}

/// Clusters that hold anything; the time before the first charge cycle counts as one if it is as long as others.
Clusters held(Clusters clusters) {
  std::erase_if(clusters, [](const Cluster& each) { return each.tries.trials <= 0; });
  return clusters;
}

std::string why_not_comparable(const Tallies& before, const Tallies& after) {
  const auto share_a_name = [](const std::vector<std::string>& a, const std::vector<std::string>& b) {
    return std::any_of(a.begin(), a.end(), [&](const auto& x) { return std::find(b.begin(), b.end(), x) != b.end(); });
  };
  if (before.all.tries.trials <= 0) return "nothing was tried before";
  if (after.all.tries.trials <= 0) return "nothing was tried after";
  const auto one = reality_of(before.run);
  const auto other = reality_of(after.run);
  // The chain must be of one kind. Who asked may differ: a controller is what many changes are about.
  if (anything_simulated(one) != anything_simulated(other))
    return fmt::format("not the same was real (before: {}; after: {})", in_passing(one), in_passing(other));
  if (!share_a_name(before.run.nodes, after.run.nodes)) return "they have no node in common";
  if (!share_a_name(before.topics, after.topics)) return "they have no topic in common";
  return {};
}

/// Topics that anything was asked of, in order of their names.
std::vector<std::string> asked_topics(const Tallies& side) {
  std::vector<std::string> asked;
  for (std::size_t i = 0; i < std::min(side.topics.size(), side.all.topics.size()); ++i) {
    if (side.all.topics[i].trials > 0) asked.push_back(side.topics[i]);
  }
  std::sort(asked.begin(), asked.end());
  return asked;
}

/// How old cells balancing are that were read from the traffic, or that nobody told them.
std::string told_caution(const char* side, const Tallies& tallies) {
  return fmt::format("As told in the traffic {}: {}.", side,
                     words::as_told(Condition::balancing, tallies.balancing,
                                    static_cast<std::uint64_t>(tallies.all.exchanges.trials)));
}

void add_cautions(Comparison& result, const Tallies& before, const Tallies& after) {
  auto& cautions = result.cautions;
  const auto reality = anything_simulated(result.before) ? result.before : result.after;
  if (anything_simulated(reality)) cautions.emplace_back(caution_of(reality));
  if (result.before != result.after && anything_simulated(result.before) && anything_simulated(result.after)) {
    cautions.push_back(
        fmt::format("The controller was real on one side only (before: {}; after: {}): a difference may be its doing, "
                    "not the chain's.",
                    in_passing(result.before), in_passing(result.after)));
  }
  if (before.run.nodes != after.run.nodes || before.run.links.size() != after.run.links.size()) {
    cautions.emplace_back("The chains differ; places are compared where both have them.");
  }
  if (asked_topics(before) != asked_topics(after)) cautions.emplace_back("The poll plans ask for different topics.");
  if (before.run_id && before.run_id == after.run_id) {
    const bool apart = before.until <= after.from || after.until <= before.from;
    cautions.emplace_back(apart ? "Both are parts of one run: nothing but the time differs."
                                : "Both are of one run and cover some of the same time: what is in both counts twice.");
  } else if (before.run.simulated && before.run.seed == after.run.seed) {
    cautions.emplace_back(
        "Both have the same seed, so most of what happened by chance is the same on both sides: the intervals are "
        "wider "
        "than they need be.");
  }
  const auto gaps = before.missing + after.missing;
  if (gaps > 0) cautions.push_back(fmt::format("Nothing was recorded for {}.", words::counted(gaps, "span")));
  if (const auto doubtful = before.doubtful + after.doubtful; doubtful > 0)
    cautions.push_back(words::left_out(doubtful));
  if (bins_met(before, after) != 1) {  // or nothing balances
    if (before.as_told) cautions.push_back(told_caution("before", before));
    if (after.as_told) cautions.push_back(told_caution("after", after));
  }
  const auto unreadable = before.unreadable + after.unreadable;
  if (unreadable > 0) {
    cautions.push_back(
        fmt::format("{} came in sums that cannot be read; they are left out.", words::counted(unreadable, "exchange")));
  }
  const auto cycles = std::min(before.cycles_begun, after.cycles_begun);
  if (cycles < least_cycles && std::max(before.cycles_begun, after.cycles_begun) > 0) {
    cautions.push_back(fmt::format(
        "Only {} began on one side: blocks of time are taken as independent, though what comes with charging comes in "
        "charge cycles. {} or more on both sides would tell more surely.",
        words::counted(cycles, "charge cycle"), least_cycles));
  }
  if (!result.balancing.empty() && result.overlap < 0.8) {
    cautions.push_back(
        fmt::format("Only {} of the tries lie at numbers of cells balancing that both sides had as often.",
                    words::share(result.overlap)));
  }
}

/// Holm over what is tested of the whole. What is the same numbers is one test, and no test is made of a copy.
void adjust_whole(Comparison& result) {
  std::vector<double> p{result.tries.p};
  if (!result.exchanges.same_as_tries) p.push_back(result.exchanges.p);
  const bool equal_test = !result.balancing.empty() && !result.equal_numbers;
  if (equal_test) p.push_back(result.common_p);
  const auto adjusted = holm(p);
  result.tests = p.size();
  result.tries.adjusted = adjusted.front();
  result.common_adjusted = equal_test ? adjusted.back() : result.tries.adjusted;
  if (!result.exchanges.same_as_tries) result.exchanges.adjusted = adjusted[1];
  std::vector<SharePair*> copies;
  if (result.exchanges.same_as_tries) copies.push_back(&result.exchanges);
  for (auto* group : {&result.nodes, &result.topics}) {
    for (SharePair& each : *group) {
      if (each.same_as_tries) copies.push_back(&each);
    }
  }
  for (SharePair* each : copies) {
    each->p = result.tries.p;
    each->adjusted = result.tries.adjusted;
  }
}

}  // namespace

Comparison compare(Tallies before, Tallies after, const CompareOptions& options) {
  Comparison result;
  result.before = reality_of(before.run);
  result.after = reality_of(after.run);
  const bool cycles = std::min(before.cycles_begun, after.cycles_begun) >= least_cycles;
  if (!cycles) {
    const Nanos longest = std::max(before.until - before.from, after.until - after.from);
    Nanos span = std::max(before.block_span, after.block_span);
    while (longest / span >= static_cast<Nanos>(most_blocks)) span *= 2;
    before.join_blocks(span);
    after.join_blocks(span);
    result.unit = fmt::format("blocks of {}", words::span(span));
  } else {
    result.unit = "charge cycles";
  }
  const auto earlier = held(cycles ? before.cycles : before.blocks);
  const auto later = held(cycles ? after.cycles : after.blocks);
  result.clusters_before = earlier.size();
  result.clusters_after = later.size();
  if (!later.empty()) result.cluster_span = (after.until - after.from) / static_cast<Nanos>(later.size());
  const auto why = why_not_comparable(before, after);
  if (before.all.tries.trials > 0 && after.all.tries.trials > 0) {
    result.exchanges =
        pair_of("exchanges not answered", of(earlier, [](const Cluster& each) { return each.exchanges; }),
                of(later, [](const Cluster& each) { return each.exchanges; }));
    result.tries = pair_of("tries that failed", of(earlier, [](const Cluster& each) { return each.tries; }),
                           of(later, [](const Cluster& each) { return each.tries; }));
  }
  if (!why.empty()) {
    say(result, Verdict::not_comparable, "Not comparable", fmt::format(": {}.", why));
    add_cautions(result, before, after);
    return result;
  }
  result.tries.p = share_test(earlier, later, "compare: tries", &Cluster::tries).p;
  const auto exchanges = [](const Cluster& each) { return each.exchanges; };
  mark_copy(result.exchanges, earlier, later, of(earlier, exchanges), of(later, exchanges));
  if (!result.exchanges.same_as_tries)
    result.exchanges.p = share_test(earlier, later, "compare: exchanges", &Cluster::exchanges).p;
  result.hops = hops_of(before, after, earlier, later);
  result.outcomes = outcomes_of(earlier, later);
  result.nodes = named(before.run.nodes, after.run.nodes, earlier, later, &Cluster::nodes);
  result.topics = named(before.topics, after.topics, earlier, later, &Cluster::topics);
  at_equal_balancing(result, before, after, earlier, later);
  adjust_whole(result);
  result.round_trips = round_trips_of(before, after, earlier, later);
  add_cautions(result, before, after);
  const auto tries = [](const Cluster& each) { return each.tries; };
  add_power(result, of(earlier, tries), of(later, tries), options);
  decide(result);
  return result;
}

}  // namespace hopbench
