// One mechanism held against one case: what it predicts of what was seen, prediction by prediction.
//
// Each prediction is weighed against "anything goes", for which every share is as likely as any other: the score is the
// logarithm of the Bayes factor of the two (R. E. Kass, A. E. Raftery, "Bayes factors", JASA 90 (1995) 773). So a
// mechanism that predicts no better than a shrug comes to nothing or less, and the sum may be compared between cases
// that are taken together and cases that are parted. Apart from that each prediction is tested by itself: the chance
// that something at least so far off would be seen, were it the mechanism (a posterior predictive check: A. Gelman,
// X.-L. Meng, H. Stern, Statistica Sinica 6 (1996) 733). One that is small enough rejects the mechanism, however well
// the others fit.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "study/candidate.h"

namespace hopbench {

/// A share that a mechanism allows, 0 to 1.
struct Allowed {
  double low = 0;
  double high = 1;
};

class Hypothesis {
 public:
  /// No prediction is exact to a per cent, and failures are not independent of each other: counts weigh like at most so
  /// many trials.
  static constexpr double most_trials = 200;
  /// Chance below which a prediction rejects, over all predictions of a mechanism together.
  static constexpr double level = 1e-3;

  explicit Hypothesis(Mechanism mechanism) : mechanism_(mechanism) {}

  /// Of `trials` (as many as 0) `hits` were so. `what`: as in "18 % <what>".
  Hypothesis& share(double hits, double trials, Allowed allowed, std::string what);
  /// Something that is so in a share of `chance` of all cases with this mechanism, and in half of all others. Only a
  /// chance of 0 or 1 rejects.
  Hypothesis& fact(bool so, double chance, std::string text);
  /// The same of something that is so as far as can be told: `sure` is 1 if it surely is, 0 if it surely is not.
  Hypothesis& likely(double sure, double chance, std::string text);
  /// A test of which the chance is known already, if the mechanism is right. It may reject, and says nothing else.
  Hypothesis& tested(double p, std::string text);
  /// What cannot be with it.
  Hypothesis& never(bool so, std::string text);

  Hypothesis& leaves(Unexpected unexpected) {
    unexpected_ = unexpected;
    return *this;
  }
  [[nodiscard]] Unexpected unexpected() const { return unexpected_; }
  [[nodiscard]] Mechanism mechanism() const { return mechanism_; }
  /// Up to a constant that is the same for all mechanisms of a case.
  [[nodiscard]] double score() const;
  [[nodiscard]] std::optional<Rejected> rejected() const;
  struct Prediction {
    double score = 0;
    double p = 1;
    std::string text;      // as seen
    std::string expected;  // "10 to 25 % expected"; may be empty
  };
  [[nodiscard]] const std::vector<Prediction>& predictions() const { return predictions_; }

 private:
  Mechanism mechanism_;
  Unexpected unexpected_;
  std::vector<Prediction> predictions_;
};

}  // namespace hopbench
