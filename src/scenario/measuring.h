// How long a node measures for an answer, in closed form.
#pragma once

#include <cstdint>

#include "base/time.h"
#include "scenario/description.h"

namespace hopbench {

struct Measuring {
  Nanos before = 0;    // from when it could answer until the values are taken
  Nanos after = 0;     // from then until they are converted
  bool waits = false;  // the answer is held back for it
};

/// `cells`: that the answer tells of. `bleeds`: the node bleeds some cell.
Measuring measuring(const KindSpec& kind, std::uint32_t cells, bool bleeds);

}  // namespace hopbench
