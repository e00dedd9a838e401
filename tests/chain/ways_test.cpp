// The three ways of running a chain give equal records: with real bytes for everything, with bytes only for what
// something may touch, and with healthy exchanges told again from a recording.
#include <algorithm>
#include <cstdlib>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"
#include "support/unfolder.h"

namespace hopbench {
namespace {

void run(const RandomScenario& scenario, Way way, std::uint64_t exchanges, Sink& kept) {
  const Protocol protocol(scenario.bus);
  Chain chain(protocol, scenario.chain, 7, way, Seat::simulated, kept);
  REQUIRE(chain.run_exchanges(exchanges));
  chain.finish({});
}

void require_equal(const Collector& one, const Collector& other) {
  REQUIRE(one.exchanges.size() == other.exchanges.size());
  for (std::size_t i = 0; i < one.exchanges.size(); ++i) {
    REQUIRE(describe(one.exchanges[i]) == describe(other.exchanges[i]));
  }
  REQUIRE(one.strays == other.strays);
  REQUIRE(one.states == other.states);
  REQUIRE(one.ended == other.ended);
}

std::uint64_t from_environment(const char* name, std::uint64_t otherwise) {
  const char* text = std::getenv(name);
  return text == nullptr ? otherwise : std::strtoull(text, nullptr, 10);
}

using Maker = RandomScenario (*)(std::uint64_t);

void ways_are_equal(Maker make) {
  const std::uint64_t first = from_environment("HOPBENCH_FIRST_SCENARIO", 0);
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 150);
  const std::uint64_t exchanges = from_environment("HOPBENCH_EXCHANGES", 60);
  std::size_t failures_seen = 0;
  for (std::uint64_t number = first; number < first + scenarios; ++number) {
    const RandomScenario scenario = make(number);
    INFO("scenario " << number << " on " << scenario.bus.name);
    REQUIRE(Protocol::faults_of(scenario.bus).empty());
    Collector events;
    Collector bytes;
    Collector repeats;
    run(scenario, Way::events, exchanges, events);
    run(scenario, Way::every_byte, exchanges, bytes);
    {
      INFO("events and every byte");
      require_equal(events, bytes);
    }
    INFO("events and repeats");
    run(scenario, Way::repeats, exchanges, repeats);
    require_equal(events, repeats);
    failures_seen += events.exchanges.size() - events.count(Outcome::answered);
  }
  // Scenarios in which nothing fails would prove little.
  CHECK(failures_seen > scenarios * exchanges / 20);
}

void longer_ways_are_equal(Maker make, std::uint64_t one_in) {
  const std::uint64_t first = from_environment("HOPBENCH_FIRST_SCENARIO", 0);
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 150);
  const std::uint64_t exchanges = from_environment("HOPBENCH_EXCHANGES", 60) * 10;
  std::uint64_t repeated = 0;
  std::uint64_t told = 0;
  for (std::uint64_t number = first; number < first + scenarios; ++number) {
    const RandomScenario scenario = make(number);
    INFO("scenario " << number << " on " << scenario.bus.name);
    Collector events;
    run(scenario, Way::events, exchanges, events);
    // Up to the same instant: what is open there is told as it stands.
    const Nanos until = events.ended;
    Collector whole_events;
    Collector whole;
    Unfolder blocks(number % 7, static_cast<std::uint32_t>(number % 4));
    const Protocol protocol(scenario.bus);
    const auto slices = [&](Way way, Sink& sink, bool forget) {
      Chain chain(protocol, scenario.chain, 7, way, Seat::simulated, sink);
      Nanos slice = 1 + until / 977;
      // A chain that holds too much stops, in any way at the same instant.
      bool goes_on = true;
      for (Nanos at = 0; at < until && goes_on; at += slice, slice += slice / 3) {
        goes_on = chain.run_until(std::min(at, until));
        if (forget && at % 3 == 0) chain.forget_recordings();
      }
      (void)chain.run_until(until);
      chain.finish({});
    };
    slices(Way::events, whole_events, false);
    slices(Way::repeats, whole, true);
    require_equal(whole_events, whole);
    slices(Way::repeats, blocks, false);
    REQUIRE(blocks.too_many == 0);
    REQUIRE(blocks.lines.size() == whole_events.exchanges.size());
    for (std::size_t i = 0; i < blocks.lines.size(); ++i) {
      REQUIRE(blocks.lines[i] == without_bytes(whole_events.exchanges[i]));
      if (!blocks.whole[i].empty()) REQUIRE(blocks.whole[i] == describe(whole_events.exchanges[i]));
    }
    if (blocks.whole_before() > 0) continue;  // what is wanted whole tells nothing of what could be repeated
    repeated += blocks.repeated;
    told += blocks.lines.size();
  }
  // Scenarios in which nothing is repeated would prove little.
  CHECK(repeated > told / one_in);
}

RandomScenario flawed_scenario(std::uint64_t number) {
  RandomScenario made = number % 2 == 0 ? random_scenario(number) : physical_scenario(number);
  give_flaw(made, number);
  return made;
}

}  // namespace

TEST_CASE("repeats, events and every byte give equal records over random scenarios") {
  ways_are_equal(random_scenario);
}

TEST_CASE("repeats, events and every byte give equal records whatever goes on around the frames") {
  ways_are_equal(physical_scenario);
}

TEST_CASE("repeats, events and every byte give equal records with clocks at the edge, heat, duties and sleepers") {
  ways_are_equal(edgy_scenario);
}

TEST_CASE("repeats, events and every byte give equal records with a node whose design has a mistake") {
  ways_are_equal(flawed_scenario);
}

TEST_CASE("repeats and events give equal records over longer runs with a node whose design has a mistake") {
  longer_ways_are_equal(flawed_scenario, 50);
}

TEST_CASE("repeats and events give equal records over longer runs, in slices, with recordings forgotten now and then") {
  longer_ways_are_equal(random_scenario, 5);
}

TEST_CASE("repeats and events give equal records over longer runs, whatever goes on around the frames") {
  longer_ways_are_equal(physical_scenario, 40);
}

TEST_CASE("repeats and events give equal records over longer runs with clocks at the edge, heat, duties and sleepers") {
  longer_ways_are_equal(edgy_scenario, 8);
}

// 2785: after a reset one node answers under another's address, and the controller balances by what it reads.
TEST_CASE("repeats and events give equal records where they once did not") {
  for (const std::uint64_t number : {2785}) {
    const RandomScenario scenario = physical_scenario(number);
    Collector events;
    Collector repeats;
    run(scenario, Way::events, 60, events);
    run(scenario, Way::repeats, 60, repeats);
    require_equal(events, repeats);
  }
}

}  // namespace hopbench
