// What the README and the pages on explain show is what the program prints.
#include <boost/json.hpp>
#include <cstdio>
#include <fstream>
#include <iterator>
#include <set>
#include <string>
#include <vector>

#include "process.h"
#include "support/catch.h"

namespace hopbench {

namespace {

namespace json = boost::json;

std::ifstream opened(const std::string& page) {
  std::ifstream file(std::string(HOPBENCH_SOURCE_DIR) + "/" + page);
  REQUIRE(file);
  return file;
}

/// The lines of the README from `first` on that are set in, as the program prints them.
std::vector<std::string> shown_from(const std::string& first) {
  std::ifstream readme = opened("README.md");
  std::vector<std::string> shown;
  bool inside = false;
  for (std::string line; std::getline(readme, line);) {
    if (line == "    " + first) inside = true;
    if (inside && !line.empty() && !line.starts_with("    ")) break;
    if (inside && !line.empty()) shown.push_back(line.substr(4));
  }
  return shown;
}

/// What a page shows below a command, without empty lines.
std::vector<std::string> shown_below(const std::string& command, const std::string& in_page = "docs/explain.md") {
  std::ifstream page = opened(in_page);
  std::vector<std::string> shown;
  bool inside = false;
  for (std::string line; std::getline(page, line);) {
    if (inside && line == "```") break;
    if (inside && !line.empty()) shown.push_back(line);
    inside = inside || line == "$ " + command;
  }
  return shown;
}

/// Names of all members of a JSON document, of whatever depth.
void collect_keys(const json::value& value, std::set<std::string>& keys) {
  if (const auto* array = value.if_array()) {
    for (const auto& each : *array) collect_keys(each, keys);
  } else if (const auto* object = value.if_object()) {
    for (const auto& each : *object) {
      keys.insert(std::string(each.key()));
      collect_keys(each.value(), keys);
    }
  }
}

/// A capture of one of the scenarios in captures/, and what is printed when it is taken.
class Taken {
 public:
  explicit Taken(const std::string& scenario) : file(std::string(HOPBENCH_BINARY) + "." + scenario + "-test.hbcap") {
    std::remove(file.c_str());
    Process run({HOPBENCH_BINARY, "run", std::string(HOPBENCH_SOURCE_DIR) + "/captures/" + scenario + ".txtpb",
                 "--capture", file});
    CHECK(run.wait() == 0);
    printed = run.out();
  }
  Taken(const Taken&) = delete;
  Taken& operator=(const Taken&) = delete;
  ~Taken() { std::remove(file.c_str()); }

  [[nodiscard]] std::string explained(const std::vector<std::string>& options = {}) const {
    std::vector<std::string> command{HOPBENCH_BINARY, "explain", file};
    command.insert(command.end(), options.begin(), options.end());
    Process explain(command);
    CHECK(explain.wait() == 0);
    return explain.out();
  }
  std::string file;
  std::string printed;
};

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
  const std::vector<std::string> explained = shown_from("Failed tries                  n of N        %  95 % interval");
  REQUIRE(explained.size() > 15);
  const std::vector<std::string> in_docs = shown_below("hopbench explain aldermoor.hbcap");
  REQUIRE(in_docs.size() > 15);
  const std::vector<std::string> judged = shown_below("hopbench explain aldermoor.hbcap", "docs/predictions.md");
  REQUIRE(judged.size() == 4);
  const Taken aldermoor("aldermoor");
  require_printed(shown, aldermoor.printed);
  const std::string printed = aldermoor.explained();
  require_printed(explained, printed);
  require_printed(in_docs, printed);
  require_printed(judged, printed);
  const std::vector<std::string> told = shown_below("hopbench explain aldermoor.hbcap --vantage controller --quick");
  REQUIRE(told.size() == 4);
  require_printed(told, aldermoor.explained({"--vantage", "controller", "--quick"}));

  // Every key of the JSON document is told of; names of causes are no keys.
  json::value document = json::parse(aldermoor.explained({"--json"}));
  document.as_object()["what_the_simulation_did"] = nullptr;
  std::set<std::string> keys;
  collect_keys(document, keys);
  CHECK(keys.size() > 60);
  std::string pages;
  for (const char* page : {"docs/explain.md", "docs/common.md"}) {
    std::ifstream file = opened(page);
    pages.append(std::istreambuf_iterator<char>(file), {});
  }
  for (const std::string& key : keys) {
    INFO(key);
    CHECK(pages.find("`" + key + "`") != std::string::npos);
  }
}

TEST_CASE("what docs/explain.md shows from the controller is what explain prints") {
  const std::vector<std::string> shown = shown_below("hopbench explain line.hbcap --vantage controller");
  REQUIRE(shown.size() > 15);
  require_printed(shown, Taken("line").explained({"--vantage", "controller"}));
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
