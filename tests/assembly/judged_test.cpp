#include "assembly/judgement.h"

#include <iostream>

#include "support/catch.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"

namespace hopbench {
namespace {

void print(const std::string& what, const Judgement& all) {
  const auto line = [](const char* name, const Share& share) {
    std::cerr << "  " << name << " " << share.same << " of " << share.of << " " << share.share() << "\n";
  };
  std::cerr << what << ", ambiguous " << all.ambiguous << "\n";
  line("groups", all.groups);
  line("tries", all.tries);
  line("exchanges", all.exchanges);
  line("rows", all.rows);
  line("strays", all.strays);
  for (const auto& [kind, count] : all.kinds) {
    const auto marked = all.marked.find(kind);
    std::cerr << "    " << kind << ": " << count << " (" << (marked == all.marked.end() ? 0 : marked->second) << " marked)\n";
  }
}

}  // namespace

TEST_CASE("judged", "[judged]") {
  for (const bool stated : {true, false}) {
    std::map<std::string, Judgement> by_bus;
    for (std::uint64_t number = 0; number < 150; ++number) {
      const RandomScenario made = random_scenario(number);
      by_bus[made.bus.name] += judged(made.bus, made.chain, 60, stated);
    }
    for (const auto& [bus, all] : by_bus) print(bus + (stated ? " time-out stated" : " not stated"), all);
  }
}

}  // namespace hopbench
