// Fuzz target: any bytes as the state file of a soak test. The first byte chooses how deep the rest goes in: as the
// whole file; or with a head and a check that are right around it, for a soak in virtual time or at a port.
//
// Build with HOPBENCH_FUZZ; the test suite replays a good state, damaged, through the same function.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <span>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "cli/soak_state.h"
#include "view/soak_report.h"

namespace hopbench::fuzz {

const Scenario& soaked() {
  static const Scenario scenario = [] {
    const std::string text = R"(
name: "fuzz" seed: 3 run_for: "3d" bus: "bench-frame"
kind { name: "plain" cells: 2 }
nodes { name: "n" count: 2 kind: "plain" }
every_hop { bit_error: "1e-4" }
controller {
  time_out: "100ms" pace: "10s"
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
}
requirement { that: "failed <= 30%" acceptable: "20%" }
requirement { that: "check <= 30% on hop 1" acceptable: "20%" }
requirement { that: "unseen <= 10min" }
requirement { that: "wrong <= 0" }
)";
    std::vector<Problem> problems;
    auto loaded = load_scenario({"fuzz", text}, buses_beside("fuzz"), problems);
    if (!loaded) std::abort();
    return *loaded;
  }();
  return scenario;
}

/// One input; aborts if a promise is broken. Whether it was taken up.
bool take_up(std::span<const std::uint8_t> input) {
  if (input.empty()) return false;
  SoakJob job(soaked(), 0);
  Soak soak(job.scenario.requirements, job.start, job.until, cycle_of(job.scenario.chain));
  const bool whole = input.front() % 2 == 0;
  const auto rest = input.subspan(1);
  std::vector<std::uint8_t> bytes(rest.begin(), rest.end());
  if (!whole) bytes = wrap_state(state_of_soak, head_of(job), rest);
  std::uint32_t next = 1;
  const std::string why = take_up_soak(bytes, job, soak, next);
  if (why.find('\n') != std::string::npos) std::abort();
  if (!why.empty()) return false;

  if (job.at_port.any()) job.scenario.chain.start = job.at_port.standing;
  const Protocol protocol(job.scenario.bus);
  job.scenario.chain.start.at = 0;
  Chain chain(protocol, job.scenario.chain, job.scenario.chain.seed, Way::repeats, Seat::simulated, soak.sink());
  if (!soak.fits()) return false;
  for (int i = 0; i < 3 && chain.run_until(chain.now() + 60 * second); ++i) soak.pass_border();
  soak.decide(job.until);
  SoakReport report(soak);
  report.now = job.until;
  report.until = job.until;
  report.resumed = job.resumed;
  if (job.at_port.any()) report.port = SoakReport::Port{job.at_port.clock, job.at_port.lateness};
  if (soak_text(report).empty() || soak_json(report).empty() || soak_metrics(report).empty()) std::abort();
  if (soak_progress(report).empty() || soak_state(job, soak, next).empty()) std::abort();
  return true;
}

}  // namespace hopbench::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  hopbench::fuzz::take_up({data, size});
  return 0;
}
