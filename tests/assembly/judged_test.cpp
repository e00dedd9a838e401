// What the assembler makes of a chain that is heard at every hop, beside what the simulated controller's run recorded.
// docs/assembly.md tells the shares; HOPBENCH_SHARES=1 prints them.
#include <cstdlib>
#include <filesystem>
#include <iomanip>
#include <iostream>
#include <sstream>

#include "assembly/judgement.h"
#include "support/catch.h"
#include "support/physical_scenario.h"
#include "support/random_scenario.h"
#include "support/shipped.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

void print(const std::string& what, const Judgement& all) {
  if (std::getenv("HOPBENCH_SHARES") == nullptr) return;
  const auto line = [](const char* name, const AgreedShare& share) {
    std::cout << "  " << name << " " << share.same << " of " << share.of << ", " << std::fixed << std::setprecision(1)
              << 100 * share.share() << " %\n";
  };
  std::cout << what << "\n";
  line("same tries", all.groups);
  line("outcome of exchanges", all.exchanges);
  line("outcome of tries", all.tries);
  line("good frames on hops", all.rows);
  line("damage on hops", all.damaged_rows);
  line("strays", all.strays);
  std::cout << "  rows left out " << all.rows_left_out << ", of another " << all.rows_of_another << "; marked "
            << all.ambiguous << "\n";
  for (const auto& [kind, count] : all.kinds) {
    const auto marked = all.marked.find(kind);
    std::cout << "    " << kind << ": " << count << " (" << (marked == all.marked.end() ? 0 : marked->second)
              << " marked)\n";
  }
}

struct Floor {
  double groups;
  double exchanges;
  double tries;
  double rows;
};

/// The share may not fall below the floor, and whatever differs differs for a reason that is known.
void check(const std::string& what, const Judgement& all, const Floor& floor) {
  INFO(what);
  print(what, all);
  CHECK(all.groups.of > 500);
  CHECK(all.groups.share() >= floor.groups);
  CHECK(all.exchanges.share() >= floor.exchanges);
  CHECK(all.tries.share() >= floor.tries);
  CHECK(all.rows.share() >= floor.rows);
  const auto unknown = all.kinds.find(kinds::unknown);
  CHECK((unknown == all.kinds.end() ? 0 : unknown->second) == 0);
}

std::map<std::string, Judgement> judged_by_bus(RandomScenario (*make)(std::uint64_t), bool stated) {
  std::map<std::string, Judgement> by_bus;
  for (std::uint64_t number = 0; number < 150; ++number) {
    const RandomScenario made = make(number);
    by_bus[made.bus.name] += judged(made.bus, made.chain, 60, stated);
  }
  REQUIRE(by_bus.size() == 3);
  return by_bus;
}

}  // namespace

// The floors are a little below what was measured; they are no expectation about real chains, which are healthier.
TEST_CASE("assembled from every hop of random chains, most is as the simulation has it", "[judged]") {
  const std::map<std::string, Floor> floors{{"bench-frame", {0.99, 0.94, 0.96, 0.97}},
                                            {"modbus-rtu", {0.96, 0.96, 0.91, 0.95}},
                                            {"old-style", {0.97, 0.98, 0.98, 0.94}}};
  for (const auto& [bus, all] : judged_by_bus(random_scenario, true)) {
    check(bus + ", time-out stated", all, floors.at(bus));
    // All for which an answer fitted more than one exchange that was open. The rest cannot be told.
    if (bus == "modbus-rtu") CHECK(2 * all.marked.at(kinds::answers_cross) > all.kinds.at(kinds::answers_cross));
  }
}

TEST_CASE("assembled from every hop without knowing the time-out, most is as the simulation has it", "[judged]") {
  const std::map<std::string, Floor> floors{{"bench-frame", {0.98, 0.90, 0.83, 0.97}},
                                            {"modbus-rtu", {0.96, 0.91, 0.83, 0.95}},
                                            {"old-style", {0.97, 0.98, 0.97, 0.94}}};
  for (const auto& [bus, all] : judged_by_bus(random_scenario, false)) {
    check(bus + ", time-out not known", all, floors.at(bus));
  }
}

TEST_CASE("assembled from every hop of the shipped scenarios, nearly all is as the simulation has it", "[judged]") {
  Judgement all;
  for (const auto& path : shipped_scenarios()) {
    INFO(path);
    const Scenario scenario = scenario_in(path);
    all += judged(scenario.bus, scenario.chain, 400, true);
  }
  check("shipped scenarios, time-out stated", all, {0.999, 0.99, 0.99, 0.99});
}

}  // namespace hopbench
