// --set and --unset, as a user gives them.
#include <algorithm>
#include <string>

#include "program.h"
#include "support/catch.h"
#include "support/dice.h"

namespace hopbench {
namespace {

const std::string mixed = std::string(HOPBENCH_SOURCE_DIR) + "/captures/mixed.txtpb";

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

std::string without(std::string text, const std::string& part, const std::string& with = "") {
  const auto at = text.find(part);
  REQUIRE(at != std::string::npos);
  return text.replace(at, part.size(), with);
}

}  // namespace

TEST_CASE("run with --set is the run of a file changed by hand") {
  const program::Folder folder;
  std::string text = folder.shell("cat " + mixed).out;
  text = without(text, "time_out: \"150ms\"", "time_out: \"6ms\"");
  text = without(text, "bit_error: \"3e-5\"", "bit_error: \"1e-3\"");
  text = without(text, "\nfault { name: \"late-answers\"", "\n# fault { name: \"late-answers\"");
  folder.write("by-hand.txtpb", text);
  const auto as_is = folder.run("run " + mixed + " --exchanges 3000 --json");
  const auto by_hand = folder.run("run by-hand.txtpb --exchanges 3000 --json");
  const auto set = folder.run("run " + mixed +
                              " --exchanges 3000 --json --unset 'fault[late-answers]' --set controller.time_out=6ms "
                              "--set 'hop[into b1].bit_error=1e-3'");
  REQUIRE(set.exit_code == 0);
  CHECK(set.out == by_hand.out);
  CHECK(set.out != as_is.out);
}

TEST_CASE("a capture holds the scenario as it was changed") {
  const program::Folder folder;
  REQUIRE(
      folder.run("run " + mixed + " --exchanges 9 --capture a.hbcap --set controller.time_out=77ms --without contact")
          .exit_code == 0);
  const std::string capture = folder.read("a.hbcap");
  CHECK(has(capture, "time_out: \"77ms\""));
  CHECK_FALSE(has(capture, "time_out: \"150ms\""));
  CHECK(has(capture, "# run without: contact\n"));
}

TEST_CASE("a bus that is set is looked for beside the scenario") {
  const program::Folder folder;
  folder.write("s.txtpb", folder.shell("cat " + mixed).out);
  folder.write("slow.txtpb", without(folder.shell("cat '" HOPBENCH_SOURCE_DIR "/proto/buses/bench-frame.txtpb'").out,
                                     "baud: 38400", "baud: 9600"));
  const auto slow = folder.run("run s.txtpb --exchanges 100 --json --set bus=slow.txtpb");
  const auto baud = folder.run("run s.txtpb --exchanges 100 --json --set baud=9600");
  REQUIRE(slow.exit_code == 0);
  CHECK(slow.out == baud.out);
  const auto missing = folder.run("run s.txtpb --exchanges 100 --set bus=fast.txtpb");
  CHECK(missing.exit_code == 2);
  CHECK(has(missing.err, "hopbench: --set: bus: the bus description \"fast.txtpb\" cannot be read"));
}

TEST_CASE("shrink and what-if take changed values too") {
  const program::Folder folder;
  const std::string asked = " --for 1min --keep 'check > 100' -o small.txtpb";
  const std::string noise = " --set 'hop[into a3].bit_error=5e-3'";
  CHECK(folder.run("shrink " + mixed + asked).exit_code == 1);
  CHECK(folder.run("shrink " + mixed + asked + noise).exit_code == 0);
  CHECK(has(folder.read("small.txtpb"), "bit_error: \"5e-3\""));
  const auto as_is = folder.run("explain --what-if " + mixed + " --exchanges 2000");
  const auto noisy = folder.run("explain --what-if " + mixed + " --exchanges 2000" + noise);
  CHECK(has(as_is.out, "Nothing failed"));
  CHECK(noisy.exit_code == 0);
  CHECK(has(noisy.out, "\n  bit_noise "));
  CHECK(folder.run("explain a.hbcap --set seed=3").exit_code == 2);
}

TEST_CASE("whatever --set and --unset say, there is a run, or one line and exit code 2") {
  const program::Folder folder;
  const std::vector<std::string> pieces{
      "controller", ".",  "time_out", "=",  "80ms",     "kind[single]", "[",         "]", "clock", "error",
      "node[a2]",   "1%", "-",        "{ ", "hop[into", " b1]",         "bit_error", "}", "\"",    "\n",
      "\xff",       "*",  "0",        ",",  "fault",    "name",         "bus",       "+", "seed",  "\xc3\xa4"};
  for (std::uint64_t number = 0; number < 60; ++number) {
    Dice dice("any option", number);
    std::string text;
    for (std::uint64_t i = 1 + dice.up_to(6); i > 0; --i) text += dice.of(pieces);
    const std::string option = dice.one_in(4) ? "--unset=" : "--set=";
    INFO(option << text);
    const auto ran = folder.run("run " + mixed + " --exchanges 1 '" + option + text + "'");
    REQUIRE((ran.exit_code == 2 || ran.exit_code == 0));
    if (ran.exit_code == 0) continue;
    CHECK(ran.out.empty());
    REQUIRE(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
    CHECK(ran.err.starts_with("hopbench: --"));
  }
}

}  // namespace hopbench
