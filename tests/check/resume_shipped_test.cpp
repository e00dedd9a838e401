// Each scenario that is shipped, broken off and gone on with: its records are those of the unbroken run.
#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

#include "support/broken_run.h"
#include "support/catch.h"
#include "support/dice.h"
#include "support/shipped.h"

namespace hopbench {
TEST_CASE("each shipped scenario tells the same when it is broken off and gone on with") {
  constexpr std::uint64_t exchanges = 1'500;
  const std::vector<std::vector<Way>> ways{{Way::repeats}, {Way::every_byte, Way::events, Way::repeats}};
  const auto files = shipped_scenarios();
  REQUIRE(files.size() > 40);
  for (const std::filesystem::path& file : files) {
    INFO(file);
    const Scenario scenario = scenario_in(file);
    const Protocol protocol(scenario.bus);
    const ChainDescription& chain = scenario.chain;
    Collector counted;
    {
      Chain whole(protocol, chain, chain.seed, Way::repeats, Seat::simulated, counted);
      REQUIRE(whole.run_exchanges(exchanges));
      whole.finish({});
    }
    bool stuck = false;
    const Collector whole = unbroken_run(protocol, chain, chain.seed, Way::events, counted.ended, stuck);
    REQUIRE_FALSE(stuck);
    Dice dice(file.filename().string(), 1);
    for (const auto& each : ways) {
      std::vector<Nanos> instants;
      for (int i = 0; i < 8; ++i) instants.push_back(dice.between(chain.start.at, counted.ended));
      std::sort(instants.begin(), instants.end());
      const BrokenRun run = broken_run(protocol, chain, chain.seed, each, instants, counted.ended);
      REQUIRE(run.trouble == "");
      REQUIRE(first_difference(whole, run.kept) == "");
      REQUIRE(run.saved.size() > 2);
    }
  }
}

}  // namespace hopbench
