// What the README shows is what the program prints.
#include <cstdio>
#include <fstream>
#include <string>
#include <vector>

#include "process.h"
#include "support/catch.h"

namespace hopbench {

TEST_CASE("the run that the README shows prints what the README shows") {
  std::ifstream readme(std::string(HOPBENCH_SOURCE_DIR) + "/README.md");
  REQUIRE(readme);
  std::vector<std::string> shown;
  bool inside = false;
  for (std::string line; std::getline(readme, line);) {
    if (line == "    aldermoor, seed 20") inside = true;
    if (inside && !line.empty() && !line.starts_with("    ")) break;
    if (inside) shown.push_back(line.empty() ? line : line.substr(4));
  }
  while (!shown.empty() && shown.back().empty()) shown.pop_back();
  REQUIRE(shown.size() > 15);

  Process run({HOPBENCH_BINARY, "run", std::string(HOPBENCH_SOURCE_DIR) + "/captures/aldermoor.txtpb"});
  CHECK(run.wait() == 0);
  // Hops without loss are left out there, so its lines appear here in the same order, perhaps with others between.
  std::size_t from = 0;
  for (const std::string& line : shown) {
    if (line.empty()) continue;
    const std::size_t place = run.out().find(line + "\n", from);
    INFO(line);
    REQUIRE(place != std::string::npos);
    from = place;
  }
}

TEST_CASE("a run of the README's scenario, run again and measured from its capture, is one document") {
  const std::string scenario = std::string(HOPBENCH_SOURCE_DIR) + "/captures/aldermoor.txtpb";
  const std::string capture = std::string(HOPBENCH_BINARY) + ".readme-test.hbcap";
  std::remove(capture.c_str());
  Process first({HOPBENCH_BINARY, "run", scenario, "--json", "--for", "30min", "--capture", capture});
  REQUIRE(first.wait() == 0);
  Process second({HOPBENCH_BINARY, "run", scenario, "--json", "--for", "30min"});
  REQUIRE(second.wait() == 0);
  Process measured({HOPBENCH_BINARY, "measure", capture, "--json"});
  REQUIRE(measured.wait() == 0);
  CHECK(first.out().find("\"asked\"") != std::string::npos);
  CHECK(first.out() == second.out());
  CHECK(first.out() == measured.out());
  std::remove(capture.c_str());
}

}  // namespace hopbench
