// The three ways of running a chain over scenarios made to part them: other framings, answers that grow, no pause
// between exchanges, and things that happen exactly as a frame begins or ends.
#include <algorithm>
#include <cstdlib>
#include <string>
#include <vector>

#include "chain/chain.h"
#include "support/catch.h"
#include "support/collector.h"
#include "support/unfolder.h"
#include "support/wild_scenario.h"

namespace hopbench {
namespace {

std::uint64_t from_environment(const char* name, std::uint64_t otherwise) {
  const char* text = std::getenv(name);
  return text == nullptr ? otherwise : std::strtoull(text, nullptr, 10);
}

/// Runs up to `exchanges`, in so many calls as `steps` says.
void run(const RandomScenario& scenario, Way way, std::uint64_t exchanges, std::uint64_t steps, Sink& kept) {
  const Protocol protocol(scenario.bus);
  Chain chain(protocol, scenario.chain, 11, way, Seat::simulated, kept);
  for (std::uint64_t step = 1; step <= steps; ++step) {
    if (!chain.run_exchanges(exchanges * step / steps)) break;
  }
  chain.finish({});
}

/// Runs to each of these instants in turn. `forget`: recordings are forgotten now and then.
void run_to(const RandomScenario& scenario, Way way, const std::vector<Nanos>& instants, bool forget, Sink& kept) {
  const Protocol protocol(scenario.bus);
  Chain chain(protocol, scenario.chain, 11, way, Seat::simulated, kept);
  for (const Nanos until : instants) {
    if (!chain.run_until(until)) break;
    if (forget && until % 5 == 0) chain.forget_recordings();
  }
  chain.finish({});
}

void require_equal(const char* which, const Collector& one, const Collector& other) {
  INFO(which);
  for (std::size_t i = 0; i < std::min(one.exchanges.size(), other.exchanges.size()); ++i) {
    REQUIRE(describe(one.exchanges[i]) == describe(other.exchanges[i]));
  }
  REQUIRE(one.exchanges.size() == other.exchanges.size());
  REQUIRE(one.strays == other.strays);
  REQUIRE(one.states == other.states);
  REQUIRE(one.ended == other.ended);
}

/// Instants at which something began or ended, in rising order, some of them left out.
std::vector<Nanos> edges_of(const Collector& run, std::uint64_t one_in) {
  std::vector<Nanos> edges;
  for (std::size_t i = 0; i < run.exchanges.size(); i += one_in) {
    const KeptExchange& each = run.exchanges[i];
    edges.push_back(each.seen.start);
    edges.push_back(each.seen.decided);
    edges.push_back(each.seen.closed);
    for (const HopRow& row : each.rows) {
      edges.push_back(row.start);
      edges.push_back(row.end);
    }
  }
  edges.push_back(run.ended);
  std::sort(edges.begin(), edges.end());
  edges.erase(std::unique(edges.begin(), edges.end()), edges.end());
  return edges;
}

}  // namespace

TEST_CASE("the three ways give equal records over wild scenarios with edges that meet") {
  const std::uint64_t first = from_environment("HOPBENCH_FIRST_SCENARIO", 0);
  const std::uint64_t scenarios = from_environment("HOPBENCH_SCENARIOS", 60);
  const std::uint64_t exchanges = from_environment("HOPBENCH_EXCHANGES", 60);
  const char* const show = std::getenv("HOPBENCH_SHOW");
  std::uint64_t repeated = 0;
  std::uint64_t told = 0;
  for (std::uint64_t number = first; number < first + scenarios; ++number) {
    RandomScenario scenario = wild_scenario(number);
    INFO("scenario " << number << " framing " << static_cast<int>(scenario.bus.framing.kind));
    for (const Protocol::Fault& fault : Protocol::faults_of(scenario.bus)) FAIL(fault.part << ": " << fault.what);
    if (number % 3 != 0) {
      Collector before;
      run(scenario, Way::events, exchanges, 1, before);
      sharpen(scenario, number, edges_of(before, 1));
    }
    Collector events;
    Collector bytes;
    run(scenario, Way::events, exchanges, 1, events);
    run(scenario, Way::every_byte, exchanges, 1, bytes);
    require_equal("events and every byte", events, bytes);

    const std::uint64_t longer = 10 * exchanges;
    Collector long_events;
    Collector repeats;
    run(scenario, Way::events, longer, 1, long_events);
    if (number % 4 == 0) {  // what meets by chance only takes longer
      Collector long_bytes;
      run(scenario, Way::every_byte, longer, 1, long_bytes);
      require_equal("events and every byte, for longer", long_events, long_bytes);
    }
    run(scenario, Way::repeats, longer, 1, repeats);
    require_equal("events and repeats", long_events, repeats);

    Collector stepped_events;
    Collector stepped;
    run(scenario, Way::events, longer, 23, stepped_events);
    run(scenario, Way::repeats, longer, 23, stepped);
    require_equal("both in several calls", stepped_events, stepped);

    Collector sliced_events;
    Collector sliced;
    const std::vector<Nanos> edges = edges_of(long_events, 7);
    run_to(scenario, Way::events, edges, false, sliced_events);
    run_to(scenario, Way::repeats, edges, true, sliced);
    require_equal("both in slices", sliced_events, sliced);

    Unfolder blocks(number % 9, static_cast<std::uint32_t>(number % 4));
    run(scenario, Way::repeats, longer, 1, blocks);
    REQUIRE(blocks.too_many == 0);
    REQUIRE(blocks.lines.size() == long_events.exchanges.size());
    for (std::size_t i = 0; i < blocks.lines.size(); ++i) {
      REQUIRE(blocks.lines[i] == without_bytes(long_events.exchanges[i]));
      if (!blocks.whole[i].empty()) REQUIRE(blocks.whole[i] == describe(long_events.exchanges[i]));
    }
    if (show != nullptr) {
      WARN(number << ": " << blocks.repeated << " of " << blocks.lines.size() << " repeated, answered "
                  << long_events.count(Outcome::answered));
    }
    if (blocks.whole_before() > 0) continue;  // what is wanted whole tells nothing of what could be repeated
    repeated += blocks.repeated;
    told += blocks.lines.size();
  }
  // Scenarios in which nothing is repeated would prove little.
  CHECK(repeated > told / 7);
}

}  // namespace hopbench
