#include "coexist.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>

#include "coexist/coexist.h"
#include "workloads.h"

namespace hopbench {
namespace {

const StopAsked never_stop = [] { return false; };

std::size_t kind_of(const ChainDescription& chain, const std::string& name) {
  const auto found =
      std::find_if(chain.kinds.begin(), chain.kinds.end(), [&](const KindSpec& each) { return each.name == name; });
  return static_cast<std::size_t>(found - chain.kinds.begin());
}

}  // namespace

void bench_coexist() {
  const Scenario scenario = captured_scenario("old-and-new");
  const ChainDescription& chain = scenario.chain;
  const Protocol protocol(scenario.bus);
  const ChainMaker maker(protocol, chain, {kind_of(chain, "block"), kind_of(chain, "solo1"), kind_of(chain, "solo2")});
  const TrialGround ground{protocol, maker, 14, std::nullopt};
  fmt::print("coexist: chains of 1 to 4 nodes built and tried, one worker\n");
  Workers one(1);
  for (std::size_t i = 0; i < promise_count; ++i) {
    CoexistPlan plan;
    plan.bounds = {4, 2000, 4};
    plan.promises = {static_cast<PromiseNumber>(i)};
    Coexistence found;
    const double took = least_wall_seconds(3, [&] { found = coexistence(ground, plan, one, never_stop, {}); });
    const TrialCounts& counts = found.promises.front().counts;
    if (counts.chains == 0) continue;
    fmt::print("  {:<15} {:8.0f} chains a second, {:6.1f} exchanges in each\n", promises()[i].id,
               static_cast<double>(counts.chains) / took,
               static_cast<double>(counts.exchanges) / static_cast<double>(counts.chains));
  }
  CoexistPlan all;
  all.bounds = {4, 2000, 4};
  Workers two(2);
  const double alone = least_wall_seconds(1, [&] { (void)coexistence(ground, all, one, never_stop, {}); });
  const double together = least_wall_seconds(1, [&] { (void)coexistence(ground, all, two, never_stop, {}); });
  fmt::print("  all promises: two workers {:.2f} times as fast as one\n", alone / together);
}

}  // namespace hopbench
