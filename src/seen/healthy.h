// What a healthy exchange is: decided here for everybody who keeps, repeats or leaves out exchanges by it.
#pragma once

#include <algorithm>

#include "seen/observation.h"

namespace hopbench {

/// As far as can be seen: answered at the first try, and every row of it was heard well and is of no copy. A record of
/// kind clean_exchange is one of these. It need not be healthy: a frame may be damaged although every check passed.
[[nodiscard]] inline bool looks_healthy(const ExchangeObs& obs) {
  return obs.outcome == Outcome::answered && obs.attempts.size() == 1 &&
         obs.attempts.front().outcome == Outcome::answered &&
         std::all_of(obs.rows.begin(), obs.rows.end(),
                     [](const HopRow& row) { return row.heard_well() && row.copy == 0; });
}

/// It looks healthy, the port was not so late that this may have decided that, no stray is known to belong to it
/// (`strays`: one is), and the truth, where it is known, tells of no damage, detected or not, of no cause and of no
/// fault that struck.
[[nodiscard]] inline bool healthy(const ExchangeObs& obs, const ExchangeTruth* truth, bool strays) {
  if (strays || obs.doubtful || !looks_healthy(obs)) return false;
  return truth == nullptr || (truth->rows.empty() && truth->strikes.empty() &&
                              std::all_of(truth->attempts.begin(), truth->attempts.end(),
                                          [](const AttemptTruth& each) { return each.cause == Cause::none; }));
}

/// Something else: a try was not answered in time, whatever became of the exchange.
[[nodiscard]] inline bool any_try_failed(const ExchangeObs& obs) {
  return std::any_of(obs.attempts.begin(), obs.attempts.end(),
                     [](const Attempt& each) { return each.outcome != Outcome::answered; });
}

}  // namespace hopbench
