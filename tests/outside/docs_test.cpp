// The session in docs/emulate.md, run as it stands there.
#include <filesystem>
#include <fstream>
#include <regex>
#include <string>
#include <vector>

#include "capture_records.h"
#include "port/fixtures.h"
#include "process.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

/// A block of a page that begins with a "$ " line: the commands, and what they print.
struct Example {
  std::string commands;
  std::vector<std::string> printed;
};

std::vector<Example> examples_of(const std::string& page) {
  std::ifstream file(std::string(HOPBENCH_SOURCE_DIR) + "/docs/" + page);
  REQUIRE(file);
  std::vector<Example> examples;
  bool inside = false;
  bool fresh = false;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with("```")) {
      inside = !inside;
      fresh = inside;
    } else if (inside && line.starts_with("$ ")) {
      if (fresh) examples.emplace_back();
      fresh = false;
      examples.back().commands += line.substr(2) + "\n";
    } else if (inside && !fresh) {
      examples.back().printed.push_back(line);
    }
  }
  return examples;
}

/// Numbers of ptys, and how quick they are, differ from day to day.
std::string without_numbers(const std::string& text) {
  const auto named = std::regex_replace(text, std::regex("/dev/pts/[0-9]+"), "/dev/pts/N");
  return std::regex_replace(named, std::regex("adds [0-9]+ us \\(median\\), [0-9]+ us"), "adds N us (median), N us");
}

std::vector<std::string> in_folder(const Folder& folder, const std::string& commands, bool one_program) {
  const auto programs = fs::path(HOPBENCH_BINARY).parent_path().string();
  return {"/bin/bash", "-ec",
          "cd '" + folder / "" + "'\nPATH='" + programs + "':$PATH\n" + (one_program ? "exec " : "") + commands};
}

TEST_CASE("the session in docs/emulate.md goes as it says") {
  const auto examples = examples_of("emulate.md");
  REQUIRE(examples.size() == 4);
  const Folder folder;
  fs::create_directory_symlink(fs::path(HOPBENCH_SOURCE_DIR) / "tests", folder / "tests");

  Process bench(in_folder(folder, examples[0].commands, true));
  REQUIRE(bench.says("Ctrl-C ends\n"));
  std::string promised;
  for (const auto& line : examples[0].printed) promised += line + "\n";
  CHECK(without_numbers(bench.err()) == without_numbers(promised));

  Process controller(in_folder(folder, examples[1].commands, false));
  CHECK(controller.wait() == 0);
  REQUIRE(examples[1].printed.size() == 1);
  CHECK(controller.out() == examples[1].printed[0] + "\n");

  bench.send(SIGINT);
  CHECK(bench.wait() == 0);

  Process again(in_folder(folder, examples[2].commands, true));
  CHECK(again.wait() == 0);
  CHECK(again.out() == bench.out());
  const auto live = CaptureRecords::read(folder / "ring.hbcap");
  const auto repeated = CaptureRecords::read(folder / "again.hbcap");
  REQUIRE(live.exchanges.size() == 1);
  REQUIRE(repeated.exchanges.size() == 1);
  CHECK(live.exchanges[0].rows == repeated.exchanges[0].rows);

  Process at_socket(in_folder(folder, examples[3].commands, true));
  REQUIRE(at_socket.says("the controller's place is at ring.socket"));
  CHECK(fs::is_socket(fs::symlink_status(folder / "ring.socket")));
  at_socket.send(SIGINT);
  CHECK(at_socket.wait() == 0);
}

}  // namespace
}  // namespace hopbench
