#include "study/compare_power.h"

#include <cmath>
#include <functional>

#include "judge/clusters.h"
#include "judge/power.h"

namespace hopbench {
namespace {

/// Nobody waits for more than so many times as much.
constexpr double most_times = 1000;

void add_smallest(SharePair& pair, std::size_t tests, std::size_t clusters_before, std::size_t clusters_after) {
  pair.level = compare_level / static_cast<double>(std::max<std::size_t>(1, tests));
  if (least_p(clusters_before, clusters_after) > pair.level) return;
  const Power power{pair.level, compare_power};
  const double share = pair.before.share();
  pair.smallest_rise = smallest_rise(share, pair.worth_before, pair.worth_after, power);
  pair.smallest_fall = smallest_fall(share, pair.worth_before, pair.worth_after, power);
}

/// The least factor from 1 on that is enough, if more is never less enough.
std::optional<double> least(const std::function<bool(double)>& enough) {
  if (!enough(most_times)) return std::nullopt;
  double low = 1;
  double high = most_times;
  for (int i = 0; i < 50 && high > low * 1.0001; ++i) {
    const double middle = std::sqrt(low * high);
    (enough(middle) ? high : low) = middle;
  }
  return high;
}

/// `enough`: whether so many times as many clusters would do before, and after.
std::optional<More> more_of(const Comparison& result, const std::function<bool(double, double)>& enough) {
  const auto before = static_cast<double>(result.clusters_before);
  const auto after = static_cast<double>(result.clusters_after);
  const auto further = [](double clusters, double factor) {
    return std::max<std::uint64_t>(1, static_cast<std::uint64_t>(std::ceil(clusters * (factor - 1))));
  };
  const auto tell_apart = [&](double earlier, double later) {
    return least_p(static_cast<std::size_t>(std::ceil(before * earlier)),
                   static_cast<std::size_t>(std::ceil(after * later))) <= result.tries.level;
  };
  const auto both = least([&](double factor) { return tell_apart(factor, factor) && enough(factor, factor); });
  if (!both) return std::nullopt;
  const auto one = least([&](double factor) { return tell_apart(1, factor) && enough(1, factor); });
  More more{std::nullopt, further(before, *both), further(after, *both)};
  if (one) more.after_only = further(after, *one);
  return more;
}

Counted counted(double share, double trials) { return {share * trials, trials}; }

bool hides_rise(const Difference& difference, const Comparison& result) {
  return difference.high >= result.rise_that_matters;
}

bool hides_fall(const Difference& difference, const Comparison& result) {
  return result.fall_that_matters > 0 && difference.low <= -result.fall_that_matters;
}

}  // namespace

bool rise_may_hide(const Comparison& result) { return hides_rise(result.tries.difference, result); }
bool fall_may_hide(const Comparison& result) { return hides_fall(result.tries.difference, result); }

void add_power(Comparison& result, const std::vector<Counted>& before, const std::vector<Counted>& after,
               const CompareOptions& options) {
  for (SharePair* pair : {&result.tries, &result.exchanges}) {
    add_smallest(*pair, result.tests, result.clusters_before, result.clusters_after);
  }
  for (auto* group : {&result.outcomes, &result.hops, &result.nodes, &result.topics, &result.balancing}) {
    for (SharePair& pair : *group) {
      const std::size_t tests = pair.same_as_tries ? result.tests : group->size();
      add_smallest(pair, tests, result.clusters_before, result.clusters_after);
    }
  }
  result.rise_that_matters = options.rise_that_matters(result.tries.before.share());
  result.fall_that_matters = options.fall_that_matters(result.tries.before.share());
  const auto earlier = [&](double times) {
    return counted(result.tries.before.share(), effective_trials(before, times));
  };
  const auto later = [&](double times) { return counted(result.tries.after.share(), effective_trials(after, times)); };
  const Power power{result.tries.level, compare_power};
  result.to_show = more_of(result, [&](double before_times, double after_times) {
    const auto times = times_to_show(earlier(before_times), later(after_times), power);
    return times && *times <= 1;
  });
  result.to_rule_out = more_of(result, [&](double before_times, double after_times) {
    const Difference difference = difference_of(earlier(before_times), later(after_times));
    return !hides_rise(difference, result) && !hides_fall(difference, result);
  });
}

}  // namespace hopbench
