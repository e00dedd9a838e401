// Switching mechanisms off, what-if and shrink, as a user runs them.
#include <string>

#include "program.h"
#include "support/catch.h"

namespace hopbench {
namespace {

const std::string mixed = std::string(HOPBENCH_SOURCE_DIR) + "/captures/mixed.txtpb";
const std::string plug_and_cable = std::string(HOPBENCH_SOURCE_DIR) + "/captures/plug-and-cable.txtpb";

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("run without a mechanism") {
  const program::Folder folder;
  const auto as_is = folder.run("run " + plug_and_cable + " --for 1h --json");
  const auto off = folder.run("run " + plug_and_cable + " --for 1h --json --without bursts --without contact");
  const auto same = folder.run("run " + plug_and_cable + " --for 1h --json --without cable");
  REQUIRE(as_is.exit_code == 0);
  REQUIRE(off.exit_code == 0);
  CHECK(as_is.out != off.out);
  CHECK(as_is.out == same.out);  // it has none
  const auto only = folder.run("run " + plug_and_cable + " --for 1h --json --only room");
  CHECK(has(only.out, "\"lost\": 0"));
  CHECK_FALSE(has(as_is.out, "\"lost\": 0,\n    \"tries\""));
}

TEST_CASE("a name that is no mechanism's is refused in one line with the list") {
  const program::Folder folder;
  for (const std::string option : {"--without", "--only"}) {
    const auto ran = folder.run("run " + mixed + " " + option + " gremlins");
    CHECK(ran.exit_code == 2);
    CHECK(ran.out.empty());
    CHECK(has(ran.err, "\"gremlins\""));
    CHECK(has(ran.err, "bit_noise, bursts"));
    CHECK(ran.err.find('\n') == ran.err.size() - 1);
  }
}

TEST_CASE("a capture tells what its run went without, and is not one of the whole scenario") {
  const program::Folder folder;
  REQUIRE(folder.run("run " + mixed + " --for 1min --capture a.hbcap").exit_code == 0);
  REQUIRE(folder.run("run " + mixed + " --for 1min --without contact --capture b.hbcap").exit_code == 0);
  CHECK_FALSE(has(folder.read("a.hbcap"), "# run without:"));
  CHECK(has(folder.read("b.hbcap"), "# run without: contact\n"));
}

TEST_CASE("explain --what-if prints a table that says it is simulated, and JSON") {
  const program::Folder folder;
  const auto table = folder.run("explain --what-if " + plug_and_cable + " --exchanges 20000");
  REQUIRE(table.exit_code == 0);
  CHECK(has(table.out, "simulated"));
  CHECK(has(table.out, "bursts"));
  const auto one = folder.run("explain --what-if " + plug_and_cable + " --exchanges 5000 --json --shares --threads 1");
  const auto three =
      folder.run("explain --what-if " + plug_and_cable + " --exchanges 5000 --json --shares --threads 3");
  REQUIRE(one.exit_code == 0);
  CHECK(one.out == three.out);
  CHECK(has(one.out, "\"simulated\": true"));
  CHECK(has(one.out, "\"reality\": \"simulated\""));
  CHECK(has(one.out, "about the model, not about a real chain"));
  CHECK(folder.run("explain --what-if " + plug_and_cable + " --exchanges 0").exit_code == 2);
  CHECK(folder.run("explain --what-if " + plug_and_cable + " --for never").exit_code == 2);
}

TEST_CASE("shrink writes a scenario that run takes") {
  const program::Folder folder;
  const auto ran = folder.run("shrink " + plug_and_cable + " --keep 'lost > 0' -o small.txtpb");
  REQUIRE(ran.exit_code == 0);
  CHECK(has(ran.out, "hop into b1: burst"));
  CHECK(has(ran.out, "Simulated"));
  const auto again = folder.run("run small.txtpb --json");
  REQUIRE(again.exit_code == 0);
  CHECK_FALSE(has(again.out, "\"lost\": 0"));
}

TEST_CASE("shrink says why not") {
  const program::Folder folder;
  const auto never_so = folder.run("shrink " + mixed + " --keep 'refused > 0' -o small.txtpb");
  CHECK(never_so.exit_code == 1);
  const auto wrong = folder.run("shrink " + mixed + " --keep 'lost > ' -o small.txtpb");
  CHECK(wrong.exit_code == 2);
  CHECK(has(wrong.err, "column 8"));
  CHECK(folder.run("shrink " + mixed + " --keep 'lost > 0 at q9' -o small.txtpb").exit_code == 2);
  CHECK(folder.run("shrink " + mixed + " --keep 'check > 0' -o /no/such/folder/small.txtpb").exit_code == 3);
  folder.write("one.txtpb", folder.shell("cat " + mixed).out);
  CHECK(folder.run("shrink one.txtpb --keep 'check > 0' -o ./one.txtpb").exit_code == 2);
  CHECK_FALSE(has(folder.shell("ls").out, "small.txtpb"));
}

}  // namespace hopbench
