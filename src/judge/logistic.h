// How the chance of a failure goes with several conditions at once.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace hopbench {

/// Tries of one cluster under the same conditions. `x`: as many as all other rows have.
struct Binomials {
  std::vector<double> x;
  double trials = 0;
  double hits = 0;
  std::uint32_t cluster = 0;
};

struct Logistic {
  bool fitted = false;  // it converged; not so where conditions only move together, or part failures from successes
  std::vector<double> coefficients;  // the first is the constant; the others per unit of x
  std::vector<double>
      by_cluster;  // standard errors if only clusters are independent: sandwich with G / (G - 1) (known as CR1)
  double deviance = 0;
  std::uint32_t clusters = 0;
};

/// Maximum likelihood by iteratively reweighted least squares (P. McCullagh, J. A. Nelder, "Generalized Linear Models",
/// chapter 4; sandwich: K.-Y. Liang, S. L. Zeger, Biometrika 73 (1986) 13-22).
Logistic logistic_of(std::span<const Binomials> rows);

/// Chance of a fall in deviance of at least this much by one condition more that does nothing (chi-squared of one
/// degree of freedom).
double deviance_chance(double fall);

/// Two-sided chance of coefficient `which` against nothing, by clusters: Student's t with clusters - 1 degrees.
double by_cluster_chance(const Logistic& fit, std::size_t which);

}  // namespace hopbench
