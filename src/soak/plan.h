// How long a soak test has to be for what it is to say.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "base/time.h"
#include "soak/soak.h"

namespace hopbench {

/// A test of fixed length instead of a sequential one: passed with at most so many hits.
struct FixedTest {
  std::uint64_t allowed = 0;  // hits
  std::uint64_t trials =
      0;                    // the fewest with which a chain at the rejectable share passes with at most the stated risk
  double rejects_good = 0;  // chance that a chain at the acceptable share does not pass
};

struct RequirementPlan {
  const Requirement* requirement = nullptr;
  double trials_per_second = 0;  // of the run's time; 0: the rehearsal had none
  // Of a share, in trials.
  double without_hits = 0;   // until it is accepted if nothing is hit, with the bunch that is assumed then
  double if_acceptable = 0;  // on average, at the acceptable share
  double if_rejectable = 0;  // and at the rejectable one
  std::array<FixedTest, 4> fixed{};
};

struct SoakPlan {
  Nanos rehearsed = 0;  // length of the run from which the trials a second come
  Nanos cycle = 0;      // that the chain goes through; a share is decided after three at the earliest
  std::vector<RequirementPlan> requirements;  // as in the soak
};

/// `rehearsal` listened to a run of the chain of this length; it must outlive the plan.
SoakPlan plan_of(const Soak& rehearsal, Nanos length, Nanos cycle);

/// A test of fixed length that passes with at most `allowed` hits, by the binomial law.
FixedTest fixed_test(const SharePlan& plan, std::uint64_t allowed);

/// Trials until a sequential test is decided if hits go on as up to now; none if it would not be. `hits` and `trials`
/// as in SequentialShare::decide().
std::optional<double> trials_to_decision(const SequentialShare& test, double hits, double trials);

}  // namespace hopbench
