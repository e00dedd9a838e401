// What `hopbench new` writes is right: whatever it takes, check takes too, and it runs.
#include <algorithm>
#include <sstream>
#include <string>
#include <vector>

#include "program.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

std::string drawn_nodes(Dice& dice) {
  std::string list;
  std::uint64_t left = 250;
  for (auto groups = 1 + dice.up_to(3); groups > 0 && left > 0; --groups) {
    const auto count = 1 + dice.up_to((dice.one_in(3) ? left : std::min<std::uint64_t>(left, 12)) - 1);
    left -= count;
    list += (list.empty() ? "" : ",") + std::to_string(count) + "x" + std::to_string(1 + dice.up_to(15));
  }
  return list;
}

std::string one_of(Dice& dice, const std::vector<std::string>& words) { return dice.of(words); }

/// With the "#" of every line gone that is an example of what may be added.
std::string with_examples(const std::string& text) {
  std::istringstream lines(text);
  std::string out;
  for (std::string line; std::getline(lines, line);) {
    const bool example = line.starts_with("# hop {") || line.starts_with("# fault {");
    out += (example ? line.substr(2) : line) + "\n";
  }
  return out;
}

}  // namespace

TEST_CASE("every scenario that new writes passes check, and runs") {
  const program::Folder folder;
  Dice dice("new scenarios", 16);
  std::size_t taken = 0;
  for (int i = 0; i < 120; ++i) {
    const std::string bus = one_of(dice, {"bench-frame", "modbus-rtu", "old-style", "mine.txtpb"});
    const std::string arguments =
        "new out.txtpb --force --nodes " + drawn_nodes(dice) + " --shape " + one_of(dice, {"ring", "line"}) +
        " --bus " + bus + " --charging " + one_of(dice, {"yes", "no"}) +
        (dice.one_in(2) ? "" : " --baud " + one_of(dice, {"1200", "9600", "57600", "1000000"}));
    CAPTURE(arguments);
    const auto made = folder.run(arguments);
    CHECK(made.err == "");
    REQUIRE(made.exit_code == 0);
    ++taken;
    const auto checked = folder.run("check out.txtpb mine.txtpb");
    CHECK(checked.err.find("out.txtpb") == std::string::npos);
    if (i % 6 != 0) continue;
    const auto ran = folder.run("run out.txtpb --exchanges 20 --without bit_noise");
    CHECK(ran.exit_code == 0);
    CHECK(ran.out.find("20 exchanges were asked") != std::string::npos);
    CHECK(ran.out.find("answered 20;") != std::string::npos);
    folder.write("more.txtpb", with_examples(folder.read("out.txtpb")));
    const auto more = folder.run("check more.txtpb");
    CHECK(more.err == "");
    CHECK(more.exit_code == 0);
  }
  CHECK(taken == 120);
}

TEST_CASE("a bus description that new writes passes check, and chains run on it") {
  const program::Folder folder;
  const auto made = folder.run("new --bus mine.txtpb --baud 57600");
  CHECK(made.exit_code == 0);
  CHECK(folder.run("check mine.txtpb").err == "");
  CHECK(folder.read("mine.txtpb").find("baud: 57600") != std::string::npos);
  std::filesystem::create_directory(folder.file("deep"));
  CHECK(folder.run("new deep/chain.txtpb --bus mine.txtpb --nodes 3x1,1x12").exit_code == 0);
  CHECK(folder.read("deep/chain.txtpb").find("bus: \"../mine.txtpb\"") != std::string::npos);
  CHECK(folder.run("run deep/chain.txtpb --exchanges 40").exit_code == 0);
}

TEST_CASE("new writes over nothing, and says what is wrong with an option") {
  const program::Folder folder;
  folder.write("there.txtpb", "mine");
  const auto refused = folder.run("new there.txtpb");
  CHECK(refused.exit_code == 2);
  CHECK(refused.err.find("there.txtpb is there already") != std::string::npos);
  CHECK(folder.run("new --bus there.txtpb").exit_code == 2);
  CHECK(folder.read("there.txtpb") == "mine");
  const auto wrong = [&](const std::string& options, const std::string& said) {
    CAPTURE(options);
    const auto ran = folder.run("new out.txtpb " + options);
    CHECK(ran.exit_code == 2);
    CHECK(ran.err.find(said) != std::string::npos);
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
    CHECK_FALSE(std::filesystem::exists(folder.file("out.txtpb")));
  };
  wrong("--nodes 34", "write COUNTxCELLS");
  wrong("--nodes 34x1,", "write COUNTxCELLS");
  wrong("--nodes 251x1", "1 to 250 nodes");
  wrong("--nodes 200x1,51x1", "1 to 250 nodes");
  wrong("--nodes 3x17", "1 to 16 cells");
  wrong("--nodes 0x1", "1 to 250 nodes");
  wrong("--nodes 99999999999x1", "write COUNTxCELLS");
  wrong("--shape star", "write ring or line");
  wrong("--baud fast", "bits per second");
  wrong("--bus modbus-rut", "did you mean modbus-rtu?");
  wrong("--charging perhaps", "write yes or no");
  wrong("--name 'a b'", "a name has letters");
  CHECK(folder.run("new").exit_code == 2);
  CHECK(folder.run("new out.txtpb --bus out.txtpb").exit_code == 2);
}

}  // namespace hopbench
