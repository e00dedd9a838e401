// What each mechanism would leave on the chain at hand: a healthy twin of it with one mechanism put in, run and seen as
// the capture was seen. A candidate is what reproduces the failures.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "bus/protocol.h"
#include "scenario/description.h"
#include "study/evidence.h"
#include "study/planting.h"
#include "study/trace.h"

namespace hopbench {

/// What one run left, by kind of failure.
struct Left {
  double tries = 0;
  std::map<Family, Leavings> by_family;
};

struct Reproduced {
  /// By mechanism: its runs. Empty for one that this chain cannot have.
  std::array<std::vector<Left>, mechanism_count> left;
  std::size_t runs = 0;
  bool stopped = false;
};

struct ReproducePlan {
  Sight sight = Sight::controller_only;  // whose eyes
  double share = 0.01;                   // of the tries that failed
  std::uint64_t exchanges = 0;           // of each run
  Nanos longest = 0;                     // time without a good answer
  unsigned threads = 1;                  // the result does not depend on it
};
/// As this evidence asks for. Runs are as long as the capture, or end where enough has been seen; A long chain costs no
/// more than a short one.
ReproducePlan plan_for(const Evidence& evidence, unsigned threads);

/// Whether what was asked is this scenario's plan, so that its twin asks the same.
bool asked_by_plan(const ChainDescription& chain, const RunInfo& run);

/// What one planting leaves.
Left reproduce(const Protocol& protocol, const Planting& planting, const ReproducePlan& plan,
               const std::function<bool()>& stop);

/// All of them, on several threads. `chain`: of the capture's scenario; what it says of mechanisms and faults is not
/// looked at. `stop` is asked from any thread, `progress` (may be empty) is told by the calling one.
Reproduced reproduce_all(const Protocol& protocol, const ChainDescription& chain, const ReproducePlan& plan,
                         const std::function<bool()>& stop,
                         const std::function<void(std::size_t done, std::size_t runs)>& progress);

}  // namespace hopbench
