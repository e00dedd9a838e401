#include "judge/logistic.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <map>

namespace hopbench {
namespace {

constexpr int most_rounds = 50;
constexpr double largest_logit = 30;

using Matrix = std::vector<std::vector<double>>;

/// Inverse of a symmetric positive matrix by Gauss and Jordan; false if it is as good as singular.
bool invert(Matrix matrix, Matrix& inverse) {
  const std::size_t n = matrix.size();
  std::vector<double> scale(n);
  for (std::size_t i = 0; i < n; ++i) scale[i] = matrix[i][i];
  inverse.assign(n, std::vector<double>(n, 0));
  for (std::size_t i = 0; i < n; ++i) inverse[i][i] = 1;
  for (std::size_t k = 0; k < n; ++k) {
    const double pivot = matrix[k][k];
    // What is left of a condition after those before it were taken out.
    if (!(pivot > 1e-10 * scale[k])) return false;
    for (std::size_t j = 0; j < n; ++j) {
      matrix[k][j] /= pivot;
      inverse[k][j] /= pivot;
    }
    for (std::size_t i = 0; i < n; ++i) {
      const double factor = matrix[i][k];
      if (i == k || factor == 0) continue;
      for (std::size_t j = 0; j < n; ++j) {
        matrix[i][j] -= factor * matrix[k][j];
        inverse[i][j] -= factor * inverse[k][j];
      }
    }
  }
  return true;
}

double chance_of(const std::vector<double>& beta, const std::vector<double>& x) {
  double logit = beta[0];
  for (std::size_t i = 0; i < x.size(); ++i) logit += beta[i + 1] * x[i];
  logit = std::clamp(logit, -largest_logit, largest_logit);
  return 1 / (1 + std::exp(-logit));
}

/// A row's place in x: the constant first.
double at(const Binomials& row, std::size_t i) { return i == 0 ? 1 : row.x[i - 1]; }

double deviance_of(std::span<const Binomials> rows, const std::vector<double>& beta) {
  double sum = 0;
  for (const auto& row : rows) {
    const double expected = row.trials * chance_of(beta, row.x);
    const double misses = row.trials - row.hits;
    if (row.hits > 0) sum += row.hits * std::log(row.hits / expected);
    if (misses > 0) sum += misses * std::log(misses / (row.trials - expected));
  }
  return 2 * sum;
}

}  // namespace

Logistic logistic_of(std::span<const Binomials> rows) {
  Logistic fit;
  if (rows.empty()) return fit;
  const std::size_t n = rows.front().x.size() + 1;
  double hits = 0;
  double trials = 0;
  for (const auto& row : rows) {
    hits += row.hits;
    trials += row.trials;
  }
  if (hits <= 0 || hits >= trials) return fit;
  auto& beta = fit.coefficients;
  beta.assign(n, 0);
  beta[0] = std::log(hits / (trials - hits));
  fit.deviance = deviance_of(rows, beta);
  Matrix information;
  Matrix inverse;
  bool converged = false;
  for (int round = 0; round < most_rounds && !converged; ++round) {
    information.assign(n, std::vector<double>(n, 0));
    std::vector<double> score(n, 0);
    for (const auto& row : rows) {
      const double p = chance_of(beta, row.x);
      for (std::size_t i = 0; i < n; ++i) {
        score[i] += at(row, i) * (row.hits - row.trials * p);
        for (std::size_t j = 0; j < n; ++j) information[i][j] += at(row, i) * at(row, j) * row.trials * p * (1 - p);
      }
    }
    if (!invert(information, inverse)) return fit;
    for (std::size_t i = 0; i < n; ++i) {
      for (std::size_t j = 0; j < n; ++j) beta[i] += inverse[i][j] * score[j];
    }
    const double deviance = deviance_of(rows, beta);
    converged = std::abs(deviance - fit.deviance) <= 1e-12 * (std::abs(deviance) + 0.1);
    fit.deviance = deviance;
  }
  // Where a condition parts failures from successes, coefficients grow without end.
  for (const double each : beta) converged = converged && std::abs(each) < largest_logit;
  if (!converged) return fit;
  std::map<std::uint32_t, std::vector<double>> scores;
  information.assign(n, std::vector<double>(n, 0));
  for (const auto& row : rows) {
    const double p = chance_of(beta, row.x);
    auto& score = scores.try_emplace(row.cluster, n, 0.0).first->second;
    for (std::size_t i = 0; i < n; ++i) {
      score[i] += at(row, i) * (row.hits - row.trials * p);
      for (std::size_t j = 0; j < n; ++j) information[i][j] += at(row, i) * at(row, j) * row.trials * p * (1 - p);
    }
  }
  if (!invert(information, inverse)) return fit;
  fit.clusters = static_cast<std::uint32_t>(scores.size());
  std::vector<double> squares(n, 0);
  for (const auto& [cluster, score] : scores) {
    for (std::size_t i = 0; i < n; ++i) {
      double part = 0;
      for (std::size_t j = 0; j < n; ++j) part += inverse[i][j] * score[j];
      squares[i] += part * part;
    }
  }
  const double groups = fit.clusters;
  for (std::size_t i = 0; i < n; ++i) {
    fit.by_cluster.push_back(groups < 2 ? 0 : std::sqrt(squares[i] * groups / (groups - 1)));
  }
  fit.fitted = true;
  return fit;
}

double deviance_chance(double fall) {
  if (fall <= 0) return 1;
  return boost::math::cdf(boost::math::complement(boost::math::chi_squared_distribution<double>(1), fall));
}

double by_cluster_chance(const Logistic& fit, std::size_t which) {
  if (!fit.fitted || fit.clusters < 2 || which >= fit.by_cluster.size() || fit.by_cluster[which] <= 0) return 1;
  const boost::math::students_t_distribution<double> student(fit.clusters - 1);
  return 2 *
         boost::math::cdf(boost::math::complement(student, std::abs(fit.coefficients[which]) / fit.by_cluster[which]));
}

}  // namespace hopbench
