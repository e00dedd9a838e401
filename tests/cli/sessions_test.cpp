// Pages that are one session from beginning to end: each command of a page's console blocks prints what stands below
// it, in a folder that holds captures/ and nothing else at first.
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

struct Step {
  std::string command;
  std::string printed;
};

std::vector<Step> session_in(const std::string& page) {
  std::ifstream file(std::string(HOPBENCH_SOURCE_DIR) + "/docs/" + page);
  REQUIRE(file);
  std::vector<Step> steps;
  bool inside = false;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with("```")) {
      inside = line.starts_with("```console");
    } else if (inside && line.starts_with("$ ")) {
      steps.push_back({line.substr(2), ""});
    } else if (inside && !steps.empty()) {
      steps.back().printed += line + "\n";
    }
  }
  return steps;
}

void run_session(const std::string& page, std::size_t least_steps) {
  const program::Folder folder;
  std::filesystem::create_directory(folder.file("work"));
  std::filesystem::create_directory_symlink(std::string(HOPBENCH_SOURCE_DIR) + "/captures",
                                            folder.file("work/captures"));
  const auto programs = std::filesystem::path(HOPBENCH_BINARY).parent_path().string();
  const auto steps = session_in(page);
  CHECK(steps.size() >= least_steps);
  for (const Step& step : steps) {
    INFO(page << ": " << step.command);
    const auto ran = folder.shell("cd '" + folder.file("work") + "' && PATH='" + programs + "':$PATH && { " +
                                  step.command + "; } 2>&1");
    CHECK(ran.out == step.printed);
    // What is said of a file is one line for each, and lines of a file are as long as they are.
    if (step.command.starts_with("hopbench check") || step.command.starts_with("grep")) continue;
    for (std::size_t at = 0; at < ran.out.size();) {
      const auto end = std::min(ran.out.find('\n', at), ran.out.size());
      CHECK(end - at <= 80);
      at = end + 1;
    }
  }
}

}  // namespace

TEST_CASE("docs/new.md goes as it says") { run_session("new.md", 3); }
TEST_CASE("the tutorial goes as it says") { run_session("tutorial.md", 6); }
TEST_CASE("the recipes go as they say") { run_session("recipes.md", 8); }

}  // namespace hopbench
