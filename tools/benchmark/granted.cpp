#include "granted.h"

#include <fmt/format.h>

#include <cstdlib>
#include <string>
#include <variant>

#include "measure/measures.h"
#include "port/granted_run.h"
#include "workloads.h"

namespace hopbench {
namespace {

constexpr std::uint64_t eighty_days = 5'000'000;
constexpr Nanos pace = 1'382'400 * microsecond;

/// Seconds by the wall: two programs take turns.
double with_controller(const Scenario& scenario, const std::string& controller, std::uint64_t exchanges) {
  const Protocol protocol(scenario.bus);
  auto at = controller_at("exec:" + controller);
  if (const auto* error = std::get_if<PortError>(&at)) {
    fmt::print(stderr, "benchmark: {}\n", error->what);
    std::exit(3);
  }
  GrantedOptions options;
  options.span = static_cast<Nanos>(exchanges) * pace;
  return least_wall_seconds(3, [&] {
    MeasureFold fold;
    const GrantedEnd end = run_granted(protocol, scenario.chain, scenario.chain.seed, Way::events,
                                       std::get<ControllerAt>(at), options, fold);
    if (end.why == GrantedEnd::Why::time && fold.measures().all.asked == exchanges) return;
    fmt::print(stderr, "benchmark: {}\n", end.what);
    std::exit(3);
  });
}

void tell(const char* name, double seconds, std::uint64_t exchanges) {
  const double each = seconds / static_cast<double>(exchanges);
  fmt::print("  {:<22} {:7.2f} us an exchange, {:9.0f} a second, 80 days in {:6.1f} s\n", name, 1e6 * each, 1 / each,
             each * eighty_days);
}

}  // namespace

void bench_granted() {
  const Scenario ring16 = captured_scenario("ring16");
  fmt::print("ring16 with a controller that is a program, by the wall\n");
  const std::uint64_t some = 100'000;
  tell("simulated, by events",
       least_wall_seconds(3,
                          [&] {
                            MeasureFold fold;
                            run_scenario(ring16, Way::events, some, fold);
                          }),
       some);
  tell("C", with_controller(ring16, HOPBENCH_RING16, some), some);
  tell("Python",
       with_controller(ring16, "python3 " HOPBENCH_SOURCE_DIR "/tests/outside/controllers/ring16.py", some / 4),
       some / 4);
  // At a pty time is real: an exchange takes as long as its frames are on the line.
  MeasureFold fold;
  run_scenario(ring16, Way::events, 1'600, fold);
  fmt::print("  (at emulate's pty an exchange takes its {} ms of real time at least)\n\n",
             fold.measures().all.round_trip.percentile(500'000).value_or(0) / millisecond);
}

}  // namespace hopbench
