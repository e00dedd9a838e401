// Prints one number over all records of a set of random scenarios, run in both ways: the same on every machine.
#include <cstdio>

#include "base/luck.h"
#include "chain/chain.h"
#include "support/collector.h"
#include "support/random_scenario.h"

int main() {
  using namespace hopbench;
  std::uint64_t digest = name_hash("");
  for (std::uint64_t number = 0; number < 60; ++number) {
    const RandomScenario scenario = random_scenario(number);
    const Protocol protocol(scenario.bus);
    for (const Way way : {Way::events, Way::every_byte}) {
      Collector kept;
      Chain chain(protocol, scenario.chain, 11, way, Seat::simulated, kept);
      if (!chain.run_exchanges(40)) return 1;
      chain.finish({});
      for (const KeptExchange& exchange : kept.exchanges) digest = name_hash(describe(exchange), digest);
      for (const std::string& stray : kept.strays) digest = name_hash(stray, digest);
    }
  }
  std::printf("%016llx\n", static_cast<unsigned long long>(digest));
  return 0;
}
