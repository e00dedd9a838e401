// How failures of a case lie one straight after another.
#pragma once

#include "study/cases.h"

namespace hopbench {

/// Failures one straight after another at one place, with nothing between them that went well.
struct InARow {
  std::uint64_t count = 0;
  std::uint64_t alone = 0;  // runs of one
  std::uint64_t longest = 0;
  Nanos longest_span = 0;  // from the first failure's start to the last one's end
  double second_ones = 0;  // share that followed straight after another
  double by_chance = 0;    // what that would be, were they independent

  /// The longest is longer than the others make likely: where hardly anything is sent, three failures in a row span a
  /// long time and yet are no long outage.
  [[nodiscard]] bool outlasts_others() const;
};

/// By hop, or by the node asked where no frame of a try was seen to fail. Failures of another case between them do not
/// part a run; a frame or a try that went well does, also before one of those.
InARow runs_of(const Evidence& evidence, const Case& which);

}  // namespace hopbench
