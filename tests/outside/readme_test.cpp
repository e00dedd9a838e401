// What the README shows is what the program prints.
#include <cstdio>
#include <fstream>
#include <string>
#include <vector>

#include "process.h"
#include "support/catch.h"

namespace hopbench {

namespace {

/// The lines of the README from `first` on that are set in, as the program prints them.
std::vector<std::string> shown_from(const std::string& first) {
  std::ifstream readme(std::string(HOPBENCH_SOURCE_DIR) + "/README.md");
  REQUIRE(readme);
  std::vector<std::string> shown;
  bool inside = false;
  for (std::string line; std::getline(readme, line);) {
    if (line == "    " + first) inside = true;
    if (inside && !line.empty() && !line.starts_with("    ")) break;
    if (inside && !line.empty()) shown.push_back(line.substr(4));
  }
  return shown;
}

/// Lines may be left out of what is shown, but none may stand there that is not printed, in that order.
void require_printed(const std::vector<std::string>& shown, const std::string& printed) {
  std::size_t from = 0;
  for (const std::string& line : shown) {
    const std::size_t place = printed.find(line + "\n", from);
    INFO(line);
    REQUIRE(place != std::string::npos);
    from = place;
  }
}

}  // namespace

TEST_CASE("the run that the README shows, and what explain says of it, print what the README shows") {
  const std::vector<std::string> shown = shown_from("aldermoor, seed 20");
  REQUIRE(shown.size() > 15);
  const std::vector<std::string> explained = shown_from("What it looks like");
  REQUIRE(explained.size() > 15);
  const std::string capture = std::string(HOPBENCH_BINARY) + ".readme-explain-test.hbcap";
  std::remove(capture.c_str());
  Process run(
      {HOPBENCH_BINARY, "run", std::string(HOPBENCH_SOURCE_DIR) + "/captures/aldermoor.txtpb", "--capture", capture});
  CHECK(run.wait() == 0);
  require_printed(shown, run.out());
  Process explain({HOPBENCH_BINARY, "explain", capture});
  CHECK(explain.wait() == 0);
  require_printed(explained, explain.out());
  std::remove(capture.c_str());
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
