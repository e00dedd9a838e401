#include "cli/build_info.h"

#include <unistd.h>

#include <array>
#include <chrono>

namespace hopbench {

Nanos wall_clock_now() {
  const auto since = std::chrono::system_clock::now().time_since_epoch();
  return std::chrono::duration_cast<std::chrono::nanoseconds>(since).count();
}

BuildInfo this_build(Nanos wall_start) {
  BuildInfo build;
  build.version = HOPBENCH_VERSION;
  build.compiler = __VERSION__;
  build.wall_start = wall_start;
  if (wall_start != 0) {
    std::array<char, 256> name{};
    if (gethostname(name.data(), name.size() - 1) == 0) build.host = name.data();
  }
  return build;
}

}  // namespace hopbench
