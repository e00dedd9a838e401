#include "soak/plan.h"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <cmath>

#include "study/property.h"

namespace hopbench {
namespace {

using Binomial = boost::math::binomial_distribution<double>;

}  // namespace

FixedTest fixed_test(const SharePlan& plan, std::uint64_t allowed) {
  FixedTest test;
  test.allowed = allowed;
  const auto passes = [&](double share, std::uint64_t trials) {
    return boost::math::cdf(Binomial(static_cast<double>(trials), share), static_cast<double>(allowed));
  };
  // The chance to pass falls with the number of trials.
  std::uint64_t low = allowed + 1;
  std::uint64_t high = low;
  while (passes(plan.rejectable, high) > plan.accept_risk) {
    low = high;
    high *= 2;
    if (high > std::uint64_t{1} << 52U) return test;
  }
  while (low < high) {
    const std::uint64_t middle = low + (high - low) / 2;
    if (passes(plan.rejectable, middle) > plan.accept_risk) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  test.trials = low;
  test.rejects_good = plan.acceptable > 0 ? 1 - passes(plan.acceptable, low) : 0;
  return test;
}

std::optional<double> trials_to_decision(const SequentialShare& test, double hits, double trials) {
  const double share = trials > 0 ? hits / trials : 0;
  if (share < test.slope()) return std::max(0.0, test.below() / (test.slope() - share) - trials);
  if (share > test.slope()) return std::max(0.0, test.above() / (share - test.slope()) - trials);
  return std::nullopt;
}

SoakPlan plan_of(const Soak& rehearsal, Nanos length, Nanos cycle) {
  SoakPlan plan;
  plan.rehearsed = length;
  plan.cycle = cycle;
  const Measures measures = rehearsal.measures();
  const CauseCounts causes = rehearsal.causes();
  for (const auto& requirement : rehearsal.requirements()) {
    RequirementPlan& each = plan.requirements.emplace_back();
    each.requirement = &requirement;
    const auto figure = figure_of(requirement.term, {&rehearsal.run(), &measures, &causes});
    if (figure && length > 0) {
      each.trials_per_second =
          static_cast<double>(figure->of) * static_cast<double>(second) / static_cast<double>(length);
    }
    if (!requirement.term.share) continue;
    const SharePlan shares = share_plan(requirement);
    const SequentialShare test(shares);
    each.without_hits = test.trials_without_hits() * requirement.bunch;
    each.if_acceptable = test.mean_trials_if_acceptable();
    each.if_rejectable = test.mean_trials_if_rejectable();
    for (std::size_t i = 0; i < each.fixed.size(); ++i) each.fixed[i] = fixed_test(shares, i);
  }
  return plan;
}

}  // namespace hopbench
