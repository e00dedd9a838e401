// The two ways of running a chain give equal records: with real bytes for everything, and with bytes only for what
// something may touch.
#include <cstdlib>

#include "nodes/chain.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/random_scenario.h"

namespace hopbench {
namespace {

void run(const RandomScenario& scenario, Way way, std::uint64_t exchanges, Collector& kept) {
  const Protocol protocol(scenario.bus);
  Chain chain(protocol, scenario.chain, 7, way, Seat::simulated, kept);
  REQUIRE(chain.run_exchanges(exchanges));
  chain.finish({});
}

std::uint64_t from_environment(const char* name, std::uint64_t otherwise) {
  const char* text = std::getenv(name);
  return text == nullptr ? otherwise : std::strtoull(text, nullptr, 10);
}

}  // namespace

TEST_CASE("events and every byte give equal records over random scenarios") {
  const std::uint64_t first = from_environment("HOPBENCH_FIRST_SCENARIO", 0);
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 150);
  const std::uint64_t exchanges = from_environment("HOPBENCH_EXCHANGES", 60);
  std::size_t failures_seen = 0;
  for (std::uint64_t number = first; number < first + scenarios; ++number) {
    const RandomScenario scenario = random_scenario(number);
    INFO("scenario " << number << " on " << scenario.bus.name);
    REQUIRE(Protocol::faults_of(scenario.bus).empty());
    Collector events;
    Collector bytes;
    run(scenario, Way::events, exchanges, events);
    run(scenario, Way::every_byte, exchanges, bytes);
    REQUIRE(events.exchanges.size() == bytes.exchanges.size());
    for (std::size_t i = 0; i < events.exchanges.size(); ++i) {
      REQUIRE(describe(events.exchanges[i]) == describe(bytes.exchanges[i]));
    }
    REQUIRE(events.strays == bytes.strays);
    REQUIRE(events.ended == bytes.ended);
    failures_seen += events.exchanges.size() - events.count(Outcome::answered);
  }
  // Scenarios in which nothing fails would prove little.
  CHECK(failures_seen > scenarios * exchanges / 20);
}

}  // namespace hopbench
