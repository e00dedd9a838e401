#include "record/write_plan.h"

#include <chrono>

namespace hopbench {

Nanos monotonic_now() {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::steady_clock::now().time_since_epoch())
      .count();
}

}  // namespace hopbench
