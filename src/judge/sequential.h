// A share tested while trials still come: accepted or rejected as soon as either can be said at stated risks.
//
// A. Wald, "Sequential Analysis" (1947), chapter 5: the sequential probability ratio test of a binomial share, with his
// limits. They are approximate: Wald shows that the risks are at most alpha / (1 - beta) and beta / (1 - alpha), and
// their sum at most the sum of those stated; a trial oversteps a limit, so that mostly both are less than stated.
#pragma once

#include <cstdint>
#include <optional>

namespace hopbench {

struct SharePlan {
  double acceptable = 0;   // at this share or below it should pass; 0: the first hit rejects
  double rejectable = 0;   // at this share or above it should not; above `acceptable`, below 1
  double reject_risk = 0;  // alpha: that it is rejected at `acceptable`; above 0, below 1/2
  double accept_risk = 0;  // beta: that it is accepted at `rejectable`; above 0, below 1/2
};

enum class Ruling : std::uint8_t { undecided, accepted, rejected };

class SequentialShare {
 public:
  explicit SequentialShare(const SharePlan& plan);

  /// `hits` of `trials` so far. Both may be fractions, where clusters of trials count for less than they hold.
  [[nodiscard]] Ruling decide(double hits, double trials) const;

  /// The limits: accepted at `slope` * trials - `below` hits or fewer, rejected at `slope` * trials + `above` or more.
  [[nodiscard]] double slope() const { return slope_; }
  [[nodiscard]] double below() const { return below_; }
  [[nodiscard]] double above() const { return above_; }

  /// Trials until it is accepted if nothing is hit.
  [[nodiscard]] double trials_without_hits() const { return below_ / slope_; }
  /// Trials that it takes on average at the acceptable share and at the rejectable one, by Wald's approximation.
  [[nodiscard]] double mean_trials_if_acceptable() const;
  [[nodiscard]] double mean_trials_if_rejectable() const;

 private:
  SharePlan plan_;
  bool none_ = false;  // is acceptable
  double slope_ = 0;
  double below_ = 0;
  double above_ = 0;
};

}  // namespace hopbench
