// Two shares that were counted, one against the other. Counts are doubles, so that numbers of trials may be the
// smaller ones that trials in clusters are worth. Throughout hits <= trials, and trials > 0.
#pragma once

#include <cstdint>

namespace hopbench {

struct Counted {
  double hits = 0;
  double trials = 0;

  [[nodiscard]] double share() const { return trials > 0 ? hits / trials : 0; }
};

/// A difference of shares, second less first, with two-sided limits.
struct Difference {
  double value = 0;
  double low = -1;
  double high = 1;
};

/// Newcombe's hybrid score interval without continuity correction: R. G. Newcombe, Statistics in Medicine 17 (1998)
/// 873-890, method 10. No limits better than -1 and 1 without trials on both sides.
Difference difference_of(Counted first, Counted second, double confidence = 0.95);

/// Fisher's exact test that both shares are the same, two-sided: the chance of a table at most as likely as this one,
/// given the sums. Trials must be independent. At most 2^53 trials.
double fisher_exact(std::uint64_t hits_1, std::uint64_t trials_1, std::uint64_t hits_2, std::uint64_t trials_2);

}  // namespace hopbench
