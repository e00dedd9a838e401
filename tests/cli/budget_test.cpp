// hopbench budget on the command line: exit codes, the document, what is refused.
#include <boost/json/parse.hpp>

#include <algorithm>
#include <filesystem>
#include <sstream>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

const std::string mixed = std::string(HOPBENCH_SOURCE_DIR) + "/captures/mixed.txtpb";

}  // namespace

TEST_CASE("budget says by its exit code whether a scenario can work") {
  const program::Folder folder;
  CHECK(folder.run("budget " + mixed).exit_code == 0);
  const program::Ran late = folder.run("budget " + mixed + " --set controller.time_out=40ms");
  CHECK(late.exit_code == 1);
  CHECK(late.out.find("CANNOT WORK: 1 of 17 exchanges cannot meet the time-out of 40.0 ms") != std::string::npos);
  const program::Ran room = folder.run("budget " + mixed + " --set kind[single].buffer_bytes=31");
  CHECK(room.exit_code == 1);
  CHECK(room.out.find("CANNOT WORK: 2 of 6 nodes must hold a frame") != std::string::npos);
}

TEST_CASE("budget's document has the figures of its text") {
  const program::Folder folder;
  const program::Ran ran = folder.run("budget " + mixed + " --json --cycle 2s --bit-error 1e-5");
  REQUIRE(ran.exit_code == 0);
  const auto document = boost::json::parse(ran.out).as_object();
  CHECK(document.at("schema") == "hopbench.budget/1");
  CHECK(document.at("works").as_bool());
  CHECK(document.at("exchanges").as_array().size() == 17);
  CHECK(document.at("wanted_cycle_ns") == 2'000'000'000);
  CHECK(document.at("largest_chains").as_array().size() == 2);
  for (const auto& each : document.at("largest_chains").as_array()) {
    CHECK(each.at("typical").at("nodes").as_int64() >= each.at("worst").at("nodes").as_int64());
    CHECK(each.at("worst").at("limit") == "round");
  }
  CHECK(document.at("checks").as_object().at("bit_error") == 1e-5);
  for (const auto& each : document.at("exchanges").as_array()) {
    const auto& answered = each.at("answered_ns").as_object();
    std::int64_t sum = each.at("ask_ns").at("typical").as_int64() + answered.at("typical").as_int64();
    for (const auto& hop : each.at("hops").as_array()) sum -= hop.at("takes_ns").at("typical").as_int64();
    CHECK(sum == each.at("node_ns").at("typical").as_int64());
    CHECK(answered.at("best").as_int64() <= answered.at("typical").as_int64());
    CHECK(answered.at("typical").as_int64() <= answered.at("worst").as_int64());
  }
}

TEST_CASE("budget's text is 80 columns wide at most, and its exit code keeps to what it says") {
  const program::Folder folder;
  std::size_t cannot = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(HOPBENCH_SOURCE_DIR "/captures")) {
    if (entry.path().extension() != ".txtpb") continue;
    INFO(entry.path());
    const program::Ran ran = folder.run("budget '" + entry.path().string() + "' --cycle 5s");
    const bool says_so = ran.out.find("CANNOT WORK") != std::string::npos;
    CHECK(ran.exit_code == (says_so ? 1 : 0));
    cannot += says_so ? 1U : 0U;
    std::istringstream lines(ran.out);
    std::size_t widest = 0;
    for (std::string line; std::getline(lines, line);) widest = std::max(widest, line.size());
    CHECK(widest <= 80);
  }
  CHECK(cannot >= 1);
}

TEST_CASE("budget shows any exchange hop by hop") {
  const program::Folder folder;
  CHECK(folder.run("budget " + mixed).out.find("Hop by hop: cells/m (least margin)") != std::string::npos);
  const program::Ran other = folder.run("budget " + mixed + " --exchange boards/b1");
  CHECK(other.exit_code == 0);
  CHECK(other.out.find("Hop by hop: boards/b1 ") != std::string::npos);
  const program::Ran none = folder.run("budget " + mixed + " --exchange boards/b7");
  CHECK(none.exit_code == 2);
  CHECK(none.out.empty());
  CHECK(none.err.find("did you mean boards/b") != std::string::npos);
}

TEST_CASE("budget refuses what is no span and no share in one line") {
  const program::Folder folder;
  for (const std::string wrong :
       {"--cycle 0s", "--cycle soon", "--bit-error 0", "--bit-error 0.6", "--bit-error much"}) {
    INFO(wrong);
    const program::Ran ran = folder.run("budget " + mixed + " " + wrong);
    CHECK(ran.exit_code == 2);
    CHECK(ran.out.empty());
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
  }
}

}  // namespace hopbench
