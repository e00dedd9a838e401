// A soak test is killed, told to end, and finds its disk full; it goes on, and comes to the same.
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>
#include <regex>
#include <string>

#include "port/fixtures.h"
#include "process.h"
#include "support/catch.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

const std::string ring16 = std::string(HOPBENCH_SOURCE_DIR) + "/captures/ring16.txtpb";

std::string text_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

/// What does not depend on how often it was broken off.
std::string measured(const std::string& json) {
  return std::regex_replace(json, std::regex("\"(resumed|detail_files_removed)\": [0-9]+,"), "");
}

std::string run_whole(const std::vector<std::string>& command, int& exit_code) {
  Process process(command);
  exit_code = process.wait();
  return process.out();
}

int kills() {
  const char* asked = std::getenv("HOPBENCH_KILLS");
  return asked == nullptr ? 20 : std::atoi(asked);
}

/// Until the state has been saved once more than at the beginning, or the program is through.
bool saved_again(const std::string& folder) {
  std::error_code none;
  for (int look = 0; look < 2'000'000; ++look) {
    if (fs::exists(folder + "/detail-000003.hbcap", none)) return true;
    if (fs::exists(folder + "/verdict.json", none)) return false;
  }
  return true;
}

std::size_t details_in(const std::string& folder) {
  std::size_t count = 0;
  for (const auto& entry : fs::directory_iterator(folder)) count += entry.path().extension() == ".hbcap" ? 1 : 0;
  return count;
}

/// Sooner or later.
bool has_details(const std::string& folder, std::size_t count) {
  for (int look = 0; look < 200'000; ++look) {
    if (details_in(folder) >= count) return true;
  }
  return false;
}

}  // namespace

TEST_CASE("a soak that is killed again and again comes to what an unbroken one comes to") {
  int exit_code = 0;
  const std::string whole = run_whole({HOPBENCH_BINARY, "soak", ring16, "--for", "20d", "--full", "--json"}, exit_code);
  REQUIRE(exit_code == 0);
  std::random_device dice;
  int went_on = 0;
  for (int kill = 0; kill < kills() / 10; ++kill) {
    const Folder folder;
    const std::string dir = folder / "soak";
    std::vector<std::string> command{HOPBENCH_BINARY, "soak",         ring16, "--for", "20d", "--full",
                                     "--json",        "--save-every", "10ms", "--dir", dir};
    for (int times = 0; times < 5; ++times) {
      Process process(command);
      if (!saved_again(dir)) break;
      process.send(SIGKILL);
      const int ended = process.wait();
      if (ended != -SIGKILL) break;
      command = {HOPBENCH_BINARY, "soak", "--resume", dir, "--json", "--save-every", "10ms"};
      ++went_on;
    }
    const std::string resumed = run_whole({HOPBENCH_BINARY, "soak", "--resume", dir, "--json"}, exit_code);
    CHECK(exit_code == 0);
    CHECK(measured(resumed) == measured(whole));
    CHECK(resumed.find("\"detail_files_removed\": 0,") != std::string::npos);
    // The captures of failures are whole, one after the other.
    std::uint64_t files = 0;
    for (const auto& entry : fs::directory_iterator(dir)) {
      if (entry.path().extension() != ".hbcap") continue;
      ++files;
      (void)run_whole({HOPBENCH_BINARY, "capture", "check", entry.path().string()}, exit_code);
      CHECK(exit_code == 0);
    }
    CHECK(files > 0);
  }
  CHECK(went_on > 0);
}

TEST_CASE("a soak that is told to end says what it has so far, and goes on from there") {
  for (const int signal : {SIGTERM, SIGINT, SIGHUP}) {
    const Folder folder;
    const std::string dir = folder / "soak";
    Process process(
        {HOPBENCH_BINARY, "soak", ring16, "--for", "4000d", "--full", "--json", "--save-every", "10ms", "--dir", dir});
    REQUIRE(saved_again(dir));
    process.send(signal);
    CHECK(process.wait() == 4);
    CHECK(process.out().find("\"end\": \"interrupted\"") != std::string::npos);
    CHECK(process.err().find("--resume " + dir + "` goes on") != std::string::npos);
    CHECK(text_of(dir + "/verdict.json") == process.out());
    const std::size_t before = details_in(dir);
    Process again({HOPBENCH_BINARY, "soak", "--resume", dir, "--save-every", "10ms"});
    // It is at work: nobody else may take it up.
    REQUIRE(has_details(dir, before + 2));
    Process third({HOPBENCH_BINARY, "soak", "--resume", dir});
    CHECK(third.wait() == 3);
    CHECK(third.err().find("another hopbench is at work on this soak") != std::string::npos);
    again.send(SIGTERM);
    CHECK(again.wait() == 4);
  }
}

TEST_CASE("a soak counts on when its files may not grow, and says so") {
  int exit_code = 0;
  const std::string whole = run_whole({HOPBENCH_BINARY, "soak", ring16, "--for", "20d", "--full", "--json"}, exit_code);
  const Folder folder;
  const std::string dir = folder / "soak";
  // Blocks of 1 KiB: enough for the first state, too little for later ones.
  Process process({"/bin/bash", "-c",
                   "ulimit -f 20; exec '" HOPBENCH_BINARY "' soak '" + ring16 +
                       "' --for 20d --full --json --save-every 10ms --dir '" + dir + "'"});
  CHECK(process.wait() == 0);
  CHECK(measured(process.out()) == measured(whole));
  CHECK(process.err().find("the soak goes on") != std::string::npos);
  // With room again it goes on from what was saved, and comes to the same.
  CHECK(measured(run_whole({HOPBENCH_BINARY, "soak", "--resume", dir, "--json"}, exit_code)) == measured(whole));
}

}  // namespace hopbench
