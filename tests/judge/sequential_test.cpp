#include "judge/sequential.h"

#include <cmath>
#include <map>

#include "support/catch.h"

using namespace hopbench;

namespace {

/// Exactly, by going through all that can happen: chance of a rejection, and trials on average.
struct Outcome {
  double rejected = 0;
  double trials = 0;
};
Outcome exact(const SequentialShare& test, double share, int most) {
  std::map<int, double> undecided{{0, 1.0}};
  Outcome outcome;
  for (int trials = 1; trials <= most && !undecided.empty(); ++trials) {
    std::map<int, double> next;
    for (const auto& [hits, chance] : undecided) {
      outcome.trials += chance;
      for (const int more : {0, 1}) {
        const double here = chance * (more == 1 ? share : 1 - share);
        const Ruling decision = test.decide(hits + more, trials);
        if (decision == Ruling::undecided) next[hits + more] += here;
        if (decision == Ruling::rejected) outcome.rejected += here;
      }
    }
    undecided = std::move(next);
  }
  return outcome;
}

}  // namespace

TEST_CASE("a sequential test has the limits that are published") {
  // NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.6 (from memory; recomputed): 0.01 against 0.10, risks 0.05 and
  // 0.10: accepted at -0.939 + 0.0397 n, rejected at 1.205 + 0.0397 n.
  const SequentialShare nist({0.01, 0.10, 0.05, 0.10});
  CHECK(nist.below() == Approx(0.939).margin(5e-4));
  CHECK(nist.above() == Approx(1.205).margin(5e-4));
  CHECK(nist.slope() == Approx(0.0397).margin(5e-5));
  // First with nothing hit at 24; at 24, 50, 100 trials accepted with at most 0, 1, 3 hits, rejected from 3, 4, 6.
  CHECK(nist.decide(0, 23) == Ruling::undecided);
  struct Row {
    int trials, accepted, rejected;
  };
  for (const auto& row : {Row{24, 0, 3}, Row{50, 1, 4}, Row{100, 3, 6}}) {
    CAPTURE(row.trials);
    CHECK(nist.decide(row.accepted, row.trials) == Ruling::accepted);
    CHECK(nist.decide(row.accepted + 1, row.trials) == Ruling::undecided);
    CHECK(nist.decide(row.rejected - 1, row.trials) == Ruling::undecided);
    CHECK(nist.decide(row.rejected, row.trials) == Ruling::rejected);
  }
  CHECK(nist.decide(2, 2) == Ruling::rejected);
  CHECK(nist.decide(1, 1) == Ruling::undecided);
  // Wald's approximation of the trials that it takes.
  CHECK(nist.mean_trials_if_acceptable() == Approx(27.957).margin(5e-3));
  CHECK(nist.mean_trials_if_rejectable() == Approx(16.447).margin(5e-3));
  const SequentialShare soak({0.001, 0.01, 0.05, 0.05});
  CHECK(soak.below() == Approx(1.27375).margin(5e-6));
  CHECK(soak.above() == Approx(1.27375).margin(5e-6));
  CHECK(soak.slope() == Approx(0.00391).margin(5e-6));
  CHECK(soak.mean_trials_if_acceptable() == Approx(393.28).margin(0.01));
  CHECK(soak.mean_trials_if_rejectable() == Approx(188.39).margin(0.01));
}

TEST_CASE("the risks of a sequential test are no more than stated") {
  // Exact values by recursion, computed outside with R.
  const SequentialShare nist({0.01, 0.10, 0.05, 0.10});
  const Outcome good = exact(nist, 0.01, 5000);
  CHECK(good.rejected == Approx(0.022047).margin(1e-6));
  CHECK(good.trials == Approx(30.2127).margin(1e-4));
  const Outcome bad = exact(nist, 0.10, 5000);
  CHECK(1 - bad.rejected == Approx(0.099579).margin(1e-6));
  CHECK(bad.trials == Approx(22.3692).margin(1e-4));
}

TEST_CASE("where nothing may be hit, one hit rejects, and enough without one accepts") {
  const SequentialShare none({0, 1e-4, 0.05, 0.05});
  CHECK(none.decide(1, 1e9) == Ruling::rejected);
  // (1 - p)^n = beta: 29,956 trials, the rule of three.
  const double enough = std::log(0.05) / std::log1p(-1e-4);
  CHECK(none.trials_without_hits() == Approx(enough));
  CHECK(none.decide(0, std::ceil(enough)) == Ruling::accepted);
  CHECK(none.decide(0, std::floor(enough) - 1) == Ruling::undecided);
}
