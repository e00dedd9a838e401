#include "workloads.h"

#include "scenario/link_table.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <ctime>

namespace hopbench {

Scenario captured_scenario(const std::string& name) {
  const std::string path = std::string(HOPBENCH_SOURCE_DIR) + "/captures/" + name + ".txtpb";
  std::string why;
  std::vector<Problem> problems;
  if (const auto file = read_text_file(path, why)) {
    if (auto scenario = load_scenario(*file, buses_beside(path), problems)) return *scenario;
  }
  fmt::print(stderr, "benchmark: {}: cannot be read\n", path);
  std::exit(3);
}

Scenario ring_of(std::size_t nodes, Ppq bit_error) {
  Scenario scenario = captured_scenario("ring16");
  ChainDescription& chain = scenario.chain;
  const NodeSpec node = chain.nodes.front();
  const PlanEntry entry = chain.controller.plan.front();
  LinkSpec link = chain.links.front();
  link.bit_error = bit_error;
  chain.nodes.clear();
  chain.controller.plan.clear();
  for (std::size_t i = 0; i < nodes; ++i) {
    NodeSpec next = node;
    next.name = "n" + std::to_string(i + 1);
    next.address = i + 1;
    chain.nodes.push_back(next);
    PlanEntry ask = entry;
    ask.name = "cell/" + next.name;
    ask.node = static_cast<std::uint16_t>(i);
    chain.controller.plan.push_back(ask);
  }
  chain.links.assign(LinkTable(chain.shape, nodes).size(), link);
  // Longer rings take longer to go round.
  chain.controller.pace = std::max(chain.controller.pace, static_cast<Nanos>(nodes) * 30 * millisecond);
  chain.controller.time_out = std::max(chain.controller.time_out, chain.controller.pace);
  return scenario;
}

void run_scenario(const Scenario& scenario, Way way, std::uint64_t exchanges, Sink& sink) {
  const Protocol protocol(scenario.bus);
  Chain chain(protocol, scenario.chain, scenario.chain.seed, way, Seat::simulated, sink);
  (void)chain.run_exchanges(exchanges);
  chain.finish({});
}

double seconds(const std::function<void()>& work) {
  const auto now = [] {
    timespec at{};
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &at);
    return static_cast<double>(at.tv_sec) + 1e-9 * static_cast<double>(at.tv_nsec);
  };
  const double before = now();
  work();
  return now() - before;
}

double least_wall_seconds(int times, const std::function<void()>& work) {
  using Clock = std::chrono::steady_clock;
  double least = 0;
  for (int i = 0; i < times; ++i) {
    const auto before = Clock::now();
    work();
    const double took = std::chrono::duration<double>(Clock::now() - before).count();
    least = i == 0 ? took : std::min(least, took);
  }
  return least;
}

double least_seconds(int times, const std::function<void()>& work) {
  double least = seconds(work);
  for (int i = 1; i < times; ++i) least = std::min(least, seconds(work));
  return least;
}

}  // namespace hopbench
