#include "physics.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string>
#include <utility>

#include "measure/measures.h"
#include "workloads.h"

namespace hopbench {
namespace {

constexpr std::array<const char*, by_events_count> reasons{
    "not quiet", "not of the plan",    "not recorded",   "something else due", "clocks",  "a duty",      "asleep",
    "noise",     "a burst or contact", "bytes on a hop", "too late",           "a fault", "wrong values"};

/// ring16 made longer, with a duty on two of its nodes.
Scenario duties_of_two() {
  Scenario scenario = ring_of(48, 1'000'000'000);
  ChainDescription& chain = scenario.chain;
  KindSpec kind = chain.kinds[chain.nodes.front().kind];
  kind.name = "busy";
  DutySpec duty;
  duty.name = "service";
  duty.every = 700 * millisecond;
  duty.takes = 5 * millisecond;
  duty.jitter = 70 * millisecond;
  kind.processor.duties.push_back(duty);
  for (const std::size_t node : {15U, 31U}) chain.nodes[node].kind = static_cast<std::uint16_t>(chain.kinds.size());
  chain.kinds.push_back(kind);
  return scenario;
}

void tell(const char* name, const Scenario& scenario, std::uint64_t exchanges, int times) {
  RepeatCounts counts;
  const double took = least_seconds(times, [&] {
    MeasureFold fold;
    const Protocol protocol(scenario.bus);
    Chain chain(protocol, scenario.chain, scenario.chain.seed, Way::repeats, Seat::simulated, fold);
    (void)chain.run_exchanges(exchanges);
    counts = chain.repeat_counts();
    chain.finish({});
  });
  const std::uint64_t some = exchanges / 50;
  const double by_events = least_seconds(1, [&] {
    MeasureFold fold;
    run_scenario(scenario, Way::events, some, fold);
  });
  const double each = 1e9 * took / static_cast<double>(exchanges);
  const auto share = [&](std::uint64_t count) {
    return 100.0 * static_cast<double>(count) / static_cast<double>(exchanges);
  };
  fmt::print("  {:<10} {:8.0f} ns an exchange, {:.1f} times as fast as events alone\n", name, each,
             1e9 * by_events / static_cast<double>(some) / each);
  fmt::print("{:13}told again: {:.2f} %, with instants of their own {:.2f} %\n", "", share(counts.repeated),
             share(counts.retimed));
  std::array<std::pair<std::uint64_t, std::size_t>, by_events_count> order;
  for (std::size_t i = 0; i < by_events_count; ++i) order[i] = {counts.by_events[i], i};
  std::sort(order.rbegin(), order.rend());
  std::string line;
  for (const auto& [count, reason] : order) {
    if (count > 0) line += fmt::format("{}{} {:.3f} %", line.empty() ? "" : ", ", reasons[reason], share(count));
  }
  if (!line.empty()) fmt::print("{:13}by events: {}\n", "", line);
}

}  // namespace

void bench_physics() {
  fmt::print("what goes on around the frames, all measures\n");
  // Six days each, as long as the scenario runs: charge, rest and load come in.
  tell("aldermoor", captured_scenario("aldermoor"), 518'400, 1);
  tell("48 nodes", duties_of_two(), 1'000'000, 2);
  tell("ring16", captured_scenario("ring16"), 5'000'000, 3);
  fmt::print("\n");
}

}  // namespace hopbench
