#include "study/compare.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "judge/clusters.h"
#include "judge/holm.h"
#include "study/words.h"

namespace hopbench {
namespace {

constexpr double level = 0.05;
constexpr std::uint32_t least_cycles = 6;
constexpr std::size_t least_clusters = 4;
constexpr std::size_t most_blocks = 64;  // of the longer capture
constexpr double least_overlap = 0.2;
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
  const auto whole = [](double value) { return static_cast<std::uint64_t>(value + 0.5); };
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
  pair.smallest_rise = smallest_rise(pair.before.share(), first.trials, second.trials, level);
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

void adjust(std::vector<SharePair>& group) {
  std::vector<double> p;
  for (const auto& each : group) p.push_back(each.p);
  const auto adjusted = holm(p);
  for (std::size_t i = 0; i < group.size(); ++i) group[i].adjusted = adjusted[i];
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
    auto pair = place_of(before[a], of(first, [&](const Cluster& each) { return (each.*which)[a]; }),
                         of(second, [&](const Cluster& each) { return (each.*which)[b]; }));
    if (pair.before.trials > 0 && pair.after.trials > 0) group.push_back(std::move(pair));
  }
  adjust(group);
  return group;
}

void at_equal_balancing(Comparison& result, const Tallies& before, const Tallies& after, const Clusters& first,
                        const Clusters& second) {
  if (!before.conditions_known || !after.conditions_known) return;
  std::array<double, 2> known{};
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    known[0] += before.all.balancing[bin].trials;
    known[1] += after.all.balancing[bin].trials;
  }
  result.overlap = 0;
  for (std::size_t bin = 0; bin < bin_count; ++bin) {
    const auto a = before.all.balancing[bin];
    const auto b = after.all.balancing[bin];
    if (a.trials <= 0 && b.trials <= 0) continue;
    result.overlap += std::min(a.trials / std::max(1.0, known[0]), b.trials / std::max(1.0, known[1]));
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
}

struct Distance {
  double apart = 0;
  std::uint16_t at = 0;
};

Distance distance_of(const std::vector<std::uint64_t>& a, const std::vector<std::uint64_t>& b) {
  double all_a = 0;
  double all_b = 0;
  for (const auto times : a) all_a += static_cast<double>(times);
  for (const auto times : b) all_b += static_cast<double>(times);
  Distance distance;
  if (all_a <= 0 || all_b <= 0) return distance;
  double below_a = 0;
  double below_b = 0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    below_a += static_cast<double>(a[i]);
    below_b += static_cast<double>(b[i]);
    const double apart = std::abs(below_a / all_a - below_b / all_b);
    if (apart > distance.apart) distance = {apart, static_cast<std::uint16_t>(i)};
  }
  return distance;
}

Nanos level_of(const std::map<std::uint16_t, std::uint64_t>& bins, std::uint64_t all, double share) {
  double below = 0;
  for (const auto& [bin, times] : bins) {
    below += static_cast<double>(times);
    if (below >= share * static_cast<double>(all)) return round_trip_to(bin);
  }
  return 0;
}

RoundTrips round_trips_of(const Tallies& before, const Tallies& after, const Clusters& first, const Clusters& second) {
  RoundTrips result;
  // Bins that any has, in order, and each cluster's counts in them.
  std::map<std::uint16_t, std::size_t> place;
  for (const auto& [bin, times] : before.all.round_trips) place[bin] = 0, result.before += times;
  for (const auto& [bin, times] : after.all.round_trips) place[bin] = 0, result.after += times;
  std::vector<std::uint16_t> bins;
  for (auto& [bin, at] : place) {
    at = bins.size();
    bins.push_back(bin);
  }
  if (result.before == 0 || result.after == 0) return result;
  for (const double share : {0.5, 0.9, 0.99, 0.999, 1.0}) {
    result.levels.push_back({share, level_of(before.all.round_trips, result.before, share),
                             level_of(after.all.round_trips, result.after, share)});
  }
  std::vector<std::uint64_t> a(bins.size());
  std::vector<std::uint64_t> b(bins.size());
  const auto measure = [&](const std::vector<const Cluster*>& all, Split split) {
    std::fill(a.begin(), a.end(), 0);
    std::fill(b.begin(), b.end(), 0);
    for (std::size_t i = 0; i < all.size(); ++i) {
      for (const auto& [bin, times] : all[i]->round_trips) (split[i] == 0 ? a : b)[place[bin]] += times;
    }
    return distance_of(a, b);
  };
  std::vector<const Cluster*> sides{&before.all, &after.all};
  const std::array<std::uint8_t, 2> as_is{0, 1};
  const auto seen = measure(sides, as_is);
  result.apart = seen.apart;
  result.apart_at = round_trip_to(bins[seen.at]);
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
  if (before.run.simulated != after.run.simulated) return "one of them was simulated, the other was not";
  if (!share_a_name(before.run.nodes, after.run.nodes)) return "they have no node in common";
  if (!share_a_name(before.topics, after.topics)) return "they have no topic in common";
  return {};
}

void add_cautions(Comparison& result, const Tallies& before, const Tallies& after) {
  auto& cautions = result.cautions;
  if (result.simulated) cautions.emplace_back("Simulated: what a real chain does is not shown by this.");
  if (before.run.nodes != after.run.nodes || before.run.links.size() != after.run.links.size()) {
    cautions.emplace_back("The chains differ; places are compared where both have them.");
  }
  if (before.topics != after.topics) cautions.emplace_back("The poll plans ask for different topics.");
  if (before.run.simulated && before.run.seed == after.run.seed) {
    cautions.emplace_back(
        "Both have the same seed, so most of what happened by chance is the same on both sides: the limits are wider "
        "than they need be.");
  }
  const auto gaps = before.missing + after.missing;
  if (gaps > 0) cautions.push_back(fmt::format("Nothing was recorded for {}.", words::counted(gaps, "span")));
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

std::string changed_by(const SharePair& pair, const std::string& what) {
  return fmt::format("{} {} from {} to {}", what, pair.difference.value < 0 ? "fell" : "rose",
                     words::share(pair.before.share()), words::share(pair.after.share()));
}

/// Places that became worse.
std::vector<std::string> worse_places(const Comparison& result) {
  std::vector<std::string> places;
  for (const auto* group : {&result.hops, &result.nodes, &result.topics}) {
    for (const auto& each : *group) {
      if (each.rose()) places.push_back(each.name);
    }
  }
  return places;
}

void judge(Comparison& result, const CompareOptions& options) {
  const auto& tries = result.tries;
  const auto& exchanges = result.exchanges;
  if (std::min(result.clusters_before, result.clusters_after) < least_clusters) {
    result.verdict = Verdict::not_comparable;
    result.sentence = fmt::format(
        "Not comparable: {} before and {} after; at least {} of each are needed to tell a change from chance.",
        result.clusters_before, result.unit.empty() ? "" : fmt::format("{} {}", result.clusters_after, result.unit),
        least_clusters);
    return;
  }
  if (!result.balancing.empty() && result.overlap < least_overlap) {
    result.verdict = Verdict::not_comparable;
    result.sentence = fmt::format(
        "Not comparable: before and after hardly ever had equal numbers of cells balancing ({} of the tries).",
        words::share(result.overlap));
    return;
  }
  const bool equal_changed = result.common_adjusted <= level && result.common.difference != 0;
  const bool equal_rose = equal_changed && result.common.difference > 0;
  const bool rose = tries.rose() || exchanges.rose();
  const bool fell = (tries.changed() && !tries.rose()) || (exchanges.changed() && !exchanges.rose());
  const auto places = worse_places(result);
  const std::string by =
      fmt::format("p {} over {}", words::chance(std::min(tries.adjusted, exchanges.adjusted)), result.unit);
  const auto& main = tries.changed() ? tries : exchanges;
  const std::string what = tries.changed() ? "tries that failed" : "exchanges not answered";
  if (equal_changed && !rose && !fell && (equal_rose || places.empty())) {
    result.verdict = equal_rose ? Verdict::worse : Verdict::better;
    result.sentence = fmt::format(
        "{} at equal numbers of cells balancing: {} points of tries that failed (p {} over {}). As a whole no "
        "difference is seen.",
        equal_rose ? "Worse" : "Better", words::points(result.common.difference), words::chance(result.common_adjusted),
        result.unit);
    return;
  }
  if (rose || !places.empty()) {
    result.verdict = Verdict::worse;
    if (rose) {
      const auto& up = tries.rose() ? tries : exchanges;
      result.sentence = fmt::format("Worse: {} ({}).",
                                    changed_by(up, tries.rose() ? "tries that failed" : "exchanges not answered"), by);
      if (fell) result.sentence += " " + changed_by(tries.rose() ? exchanges : tries, "The other measure") + ".";
    } else if (fell) {
      result.sentence = fmt::format("Better as a whole, worse in places: {} ({}).", changed_by(main, what), by);
    } else {
      result.sentence = "Worse in places, no difference seen as a whole.";
    }
    if (!places.empty()) {
      std::vector<std::string> named(places.begin(), places.begin() + std::min<std::ptrdiff_t>(5, std::ssize(places)));
      result.sentence +=
          fmt::format(" Worse: {}{}.", words::list(named),
                      places.size() > named.size() ? fmt::format(" and {} more", places.size() - named.size()) : "");
    }
    return;
  }
  if (fell) {
    result.verdict = Verdict::better;
    result.sentence = fmt::format("Better: {} ({}).", changed_by(main, what), by);
    if (!result.balancing.empty() && !equal_changed) {
      result.sentence +=
          " At equal numbers of cells balancing no difference is seen: it is better because fewer cells balanced at "
          "once, or at other times. If that was the change, it holds; if not, the two are not alike.";
    } else if (equal_rose) {
      result.verdict = Verdict::worse;
      result.sentence += " At equal numbers of cells balancing it is worse: fewer balanced, and those did more harm.";
    } else if (equal_changed) {
      result.sentence += " It is so at equal numbers of cells balancing as well.";
    }
    return;
  }
  const double matters = std::max(options.worse_by, tries.before.share());
  const std::string could =
      fmt::format("a rise of tries that failed from {} to {} would have been seen four times of five",
                  words::share(tries.before.share()), words::share(tries.before.share() + tries.smallest_rise));
  if (tries.difference.high < matters) {
    result.verdict = Verdict::no_difference;
    result.sentence = fmt::format("No difference seen; {}.", could);
  } else {
    result.verdict = Verdict::cannot_say;
    result.sentence = fmt::format("Cannot say: no difference seen, but up to {} more of the tries may fail now; {}.",
                                  words::share(tries.difference.high), could);
  }
}

}  // namespace

std::string_view name_of(Verdict verdict) {
  switch (verdict) {
    case Verdict::better:
      return "better";
    case Verdict::worse:
      return "worse";
    case Verdict::no_difference:
      return "no_difference_seen";
    case Verdict::cannot_say:
      return "cannot_say";
    case Verdict::not_comparable:
      break;
  }
  return "not_comparable";
}

bool SharePair::changed() const { return adjusted <= level && difference.value != 0; }

Comparison compare(Tallies before, Tallies after, const CompareOptions& options) {
  Comparison result;
  result.simulated = before.run.simulated || after.run.simulated;
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
  const auto why = why_not_comparable(before, after);
  if (before.all.tries.trials > 0 && after.all.tries.trials > 0) {
    result.exchanges =
        pair_of("exchanges not answered", of(earlier, [](const Cluster& each) { return each.exchanges; }),
                of(later, [](const Cluster& each) { return each.exchanges; }));
    result.tries = pair_of("tries that failed", of(earlier, [](const Cluster& each) { return each.tries; }),
                           of(later, [](const Cluster& each) { return each.tries; }));
  }
  if (!why.empty()) {
    result.sentence = fmt::format("Not comparable: {}.", why);
    add_cautions(result, before, after);
    return result;
  }
  const auto by_tries = share_test(earlier, later, "compare: tries", &Cluster::tries);
  result.every_split = by_tries.all;
  result.tries.p = by_tries.p;
  result.exchanges.p = share_test(earlier, later, "compare: exchanges", &Cluster::exchanges).p;
  result.hops = hops_of(before, after, earlier, later);
  result.nodes = named(before.run.nodes, after.run.nodes, earlier, later, &Cluster::nodes);
  result.topics = named(before.topics, after.topics, earlier, later, &Cluster::topics);
  at_equal_balancing(result, before, after, earlier, later);
  std::vector<double> overall{result.tries.p, result.exchanges.p};
  if (!result.balancing.empty()) overall.push_back(result.common_p);
  const auto adjusted = holm(overall);
  result.tries.adjusted = adjusted[0];
  result.exchanges.adjusted = adjusted[1];
  if (!result.balancing.empty()) result.common_adjusted = adjusted[2];
  result.round_trips = round_trips_of(before, after, earlier, later);
  add_cautions(result, before, after);
  judge(result, options);
  return result;
}

}  // namespace hopbench
