// What if a mechanism were not there: a scenario run as it is, without each of its mechanisms, and with each alone, all
// on the same luck. Where a run stays in step with the run as it is, each exchange meets itself, and which failures go
// is counted, not estimated. Where it does not, turns are still paired. All of it is simulated, but for a real
// controller in its seat.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string_view>
#include <vector>

#include "bus/protocol.h"
#include "judge/limits.h"
#include "scenario/description.h"
#include "seen/mechanism.h"
#include "seen/reality.h"
#include "study/failures.h"

namespace hopbench {

struct WhatIfPlan {
  std::uint64_t seed = 1;
  RunBound bound;
  unsigned threads = 1;  // runs at the same time; the result does not depend on it
  bool shares = false;   // a run for each set of mechanisms; at most most_for_shares of them
  InSeat in_seat;
};

inline constexpr std::size_t most_for_shares = 8;

/// The same turns of the same entries of two runs, at whatever instants they were asked.
struct ByTurn {
  std::uint64_t paired = 0;    // turns that both asked
  std::uint64_t gone = 0;      // failed as it is, answered in the other
  std::uint64_t stayed = 0;    // failed in both
  std::uint64_t come = 0;      // answered as it is, failed in the other
  std::optional<Share> fewer;  // gone, of those that differ, with 95 % limits: one half if the runs are alike
};

/// The run as it is, laid over another run.
struct Against {
  std::uint64_t asked = 0;  // the other run
  std::uint64_t failed = 0;
  // Charge cycles (days, without a charger) in which the two had different numbers of failures.
  std::uint64_t fewer_in = 0;  // the other had fewer
  std::uint64_t more_in = 0;   // the other had more
  double p = 1;                // exact sign test over those, two-sided
  std::optional<Share> fewer;  // share of those cycles in which the other had fewer, with 95 % limits
  // Exchange by exchange, of those that both asked at the same instant (see study/failures.h).
  std::uint64_t in_step = 0;  // such exchanges
  std::uint64_t gone = 0;     // failed as it is, answered in the other
  std::uint64_t stayed = 0;   // failed in both
  std::uint64_t come = 0;     // answered as it is, failed in the other
  ByTurn by_turn;             // says something where they are not in step: noise and faults hang on the turn

  /// Enough of the run is in step to speak of single exchanges: nine in ten of those asked as it is.
  [[nodiscard]] bool pairs(std::uint64_t asked_as_is) const { return in_step / 9 >= asked_as_is / 10 && in_step > 0; }
};

/// What a run is without a mechanism. shifts: exchanges are asked at other instants, so that what hangs on time strikes
/// others, as many as before within the limits, and with the mechanism alone nothing fails.
enum class Bearing : std::uint8_t { none, changes, only_shifts_times, too_few };
std::string_view name_of(Bearing bearing);

struct MechanismFinding {
  Mechanism mechanism = Mechanism::bit_noise;
  Against off;                  // the run without it
  Against only;                 // the run with it alone (and balancing)
  std::uint64_t not_alone = 0;  // go without it, yet do not come with it alone: something else takes part
  Bearing bearing = Bearing::none;
  std::optional<double> share;  // its Shapley share of the failures, of 0..1 (or below 0: it prevents failures)
};

/// Failures that neither of two mechanisms brings alone, and that go without either.
struct TogetherFinding {
  Mechanism one = Mechanism::bit_noise;
  Mechanism other = Mechanism::bit_noise;
  std::uint64_t failures = 0;
};

struct WhatIf {
  Reality reality = Reality::simulated;
  RunEnd end = RunEnd::done;  // the worst of all runs; if not done, the rest means nothing
  std::uint64_t asked = 0;    // as it is
  std::uint64_t failed = 0;
  std::uint64_t none_asked = 0;  // without all of them
  std::uint64_t none_failed = 0;
  std::uint64_t either = 0;  // failures that no single mechanism is needed for, yet that go without all of them
  Nanos unit = 0;            // length of a charge cycle, or a day
  std::uint64_t runs = 0;
  std::vector<MechanismFinding> mechanisms;  // that with the lowest failure rate when it is off first
  std::vector<TogetherFinding> together;     // most failures first; only those with any
};

/// `stop` is asked from any of the threads, `progress` (may be empty) is told by the calling one.
WhatIf what_if(const Protocol& protocol, const ChainDescription& chain, const WhatIfPlan& plan,
               const std::function<bool()>& stop,
               const std::function<void(std::size_t done, std::size_t runs)>& progress);

}  // namespace hopbench
