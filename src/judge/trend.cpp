#include "judge/trend.h"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <limits>
#include <map>
#include <vector>

namespace hopbench {
namespace {

struct StratumSums {
  double tries = 0;
  double failures = 0;
  double sum = 0;
  std::map<double, double> by_value;
};

}  // namespace

Trend trend_of(std::span<const Tried> rows, std::uint32_t least_clusters, double least_comparable) {
  std::map<std::uint32_t, StratumSums> strata;
  for (const auto& row : rows) {
    auto& stratum = strata[row.stratum];
    stratum.tries += row.tries;
    stratum.failures += row.failures;
    stratum.sum += row.tries * row.value;
    stratum.by_value[row.value] += row.tries;
  }
  Trend trend;
  for (const auto& [name, stratum] : strata) {
    double most = 0;
    for (const auto& [value, tries] : stratum.by_value) most = std::max(most, tries);
    if (stratum.tries > 0) trend.comparable += stratum.failures * (stratum.tries - most) / stratum.tries;
  }
  std::map<std::uint32_t, double> scores;
  double seen[2] = {0, 0};
  double due[2] = {0, 0};
  for (const auto& row : rows) {
    const auto& stratum = strata[row.stratum];
    if (stratum.tries <= 0 || stratum.by_value.size() < 2) continue;
    const double expected = row.tries * stratum.failures / stratum.tries;
    const std::size_t above = row.value > stratum.sum / stratum.tries ? 1 : 0;
    seen[above] += row.failures;
    due[above] += expected;
    scores[row.cluster] += (row.failures - expected) * (row.value - stratum.sum / stratum.tries);
  }
  trend.clusters = static_cast<std::uint32_t>(scores.size());
  if (trend.clusters < std::max(2U, least_clusters) || trend.comparable < least_comparable) return trend;
  if (due[0] > 0 && due[1] > 0) trend.ratio = (seen[1] + 0.5) / due[1] / ((seen[0] + 0.5) / due[0]);
  const double n = trend.clusters;
  double sum = 0;
  for (const auto& [cluster, score] : scores) sum += score;
  const double mean = sum / n;
  double squares = 0;
  for (const auto& [cluster, score] : scores) squares += (score - mean) * (score - mean);
  trend.tested = true;
  if (squares <= 1e-18 * mean * mean) {
    // All clusters say exactly the same.
    if (mean == 0) return trend;
    trend.t = std::copysign(std::numeric_limits<double>::infinity(), mean);
    trend.p = 0;
    return trend;
  }
  trend.t = mean / std::sqrt(squares / (n - 1) / n);
  const boost::math::students_t_distribution<double> student(n - 1);
  trend.p = 2 * boost::math::cdf(boost::math::complement(student, std::abs(trend.t)));
  return trend;
}

}  // namespace hopbench
