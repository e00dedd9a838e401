// Timings, as ratios within one run of one machine. Usage: hopbench_benchmark [ways] [growth] [memory] [capture]
// [inspect] [follow] [granted] [physics] [coexist]; without names, all.
#include <fmt/format.h>

#include <functional>
#include <string>
#include <vector>

#include "capture.h"
#include "coexist.h"
#include "follow.h"
#include "granted.h"
#include "inspect.h"
#include "memory.h"
#include "physics.h"
#include "speed.h"

int main(int argc, char** argv) {
  const std::vector<std::pair<std::string, std::function<void()>>> parts{
      {"ways", hopbench::bench_ways},       {"growth", hopbench::bench_growth},   {"memory", hopbench::bench_memory},
      {"capture", hopbench::bench_capture}, {"inspect", hopbench::bench_inspect}, {"follow", hopbench::bench_follow},
      {"granted", hopbench::bench_granted}, {"physics", hopbench::bench_physics}, {"coexist", hopbench::bench_coexist},
  };
  for (int i = 1; i < argc; ++i) {
    bool known = false;
    for (const auto& [name, run] : parts) known = known || name == argv[i];
    if (!known) {
      fmt::print(stderr, "benchmark: no part is called {}; there are:", argv[i]);
      for (const auto& [name, run] : parts) fmt::print(stderr, " {}", name);
      fmt::print(stderr, "\n");
      return 2;
    }
  }
  for (const auto& [name, run] : parts) {
    bool wanted = argc == 1;
    for (int i = 1; i < argc; ++i) wanted = wanted || name == argv[i];
    if (wanted) run();
  }
  return 0;
}
