// Every scenario that is shipped, run in the three ways: equal records, with the bytes of all that was heard, and equal
// captures, byte for byte.
#include <cstdlib>
#include <string>
#include <vector>

#include "../record/capture_tools.h"
#include "chain/chain.h"
#include "support/catch.h"
#include "support/shipped.h"

namespace hopbench {
namespace {

void run(const Scenario& scenario, Way way, std::uint64_t exchanges, Sink& sink) {
  const Protocol protocol(scenario.bus);
  Chain chain(protocol, scenario.chain, scenario.chain.seed, way, Seat::simulated, sink);
  (void)chain.run_exchanges(exchanges);
  chain.finish({});
}

std::vector<std::string> told(const Scenario& scenario, Way way, std::uint64_t exchanges) {
  sample::Listing listing;
  run(scenario, way, exchanges, listing);
  return listing.lines;
}

std::vector<std::uint8_t> captured(const Scenario& scenario, Way way, std::uint64_t exchanges) {
  sample::MemoryFile file;
  {
    CaptureWriter writer(file, "memory", sample::origin(), sample::still_plan());
    run(scenario, way, exchanges, writer);
  }
  return {file.bytes.begin(), file.bytes.end()};
}

void require_equal(const std::vector<std::string>& one, const std::vector<std::string>& other) {
  for (std::size_t i = 0; i < std::min(one.size(), other.size()); ++i) REQUIRE(one[i] == other[i]);
  REQUIRE(one.size() == other.size());
}

}  // namespace

TEST_CASE("every shipped scenario gives equal records and captures in all three ways") {
  const char* more = std::getenv("HOPBENCH_EXCHANGES");
  const std::uint64_t exchanges = more == nullptr ? 1'000 : std::strtoull(more, nullptr, 10);
  const auto files = shipped_scenarios();
  CHECK(files.size() > 40);
  for (const auto& path : files) {
    INFO(path.string());
    const Scenario scenario = scenario_in(path);
    const auto events = told(scenario, Way::events, exchanges);
    require_equal(events, told(scenario, Way::repeats, exchanges));
    require_equal(std::vector(events), told(scenario, Way::every_byte, exchanges));
    REQUIRE(captured(scenario, Way::events, exchanges) == captured(scenario, Way::repeats, exchanges));
  }
}

}  // namespace hopbench
