#include "memory.h"

#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "measure/causes.h"
#include "measure/fan_out.h"
#include "measure/measures.h"
#include "workloads.h"

namespace hopbench {
namespace {

/// In a process of its own, so that one run's memory is not another's.
double mebibytes_of(const Scenario& scenario, std::uint64_t exchanges) {
  std::fflush(stdout);
  const pid_t child = fork();
  if (child == 0) {
    MeasureFold fold;
    CauseFold causes;
    FanOut all{&fold, &causes};
    run_scenario(scenario, Way::repeats, exchanges, all);
    _exit(0);
  }
  int status = 0;
  rusage used{};
  wait4(child, &status, 0, &used);
  return static_cast<double>(used.ru_maxrss) / 1024;
}

}  // namespace

void bench_memory() {
  fmt::print("largest memory of a run with all measures, MiB\n  exchanges (ring16)");
  const Scenario ring16 = captured_scenario("ring16");
  for (const std::uint64_t exchanges : {10'000U, 1'000'000U, 50'000'000U}) {
    fmt::print("  {:.0e}: {:.1f}", static_cast<double>(exchanges), mebibytes_of(ring16, exchanges));
  }
  fmt::print("\n  nodes             ");
  for (const std::size_t nodes : {1U, 16U, 64U, 250U}) {
    fmt::print("  {}: {:.1f}", nodes, mebibytes_of(ring_of(nodes, 1'000'000'000), 1'000'000));
  }
  fmt::print("\n\n");
}

}  // namespace hopbench
