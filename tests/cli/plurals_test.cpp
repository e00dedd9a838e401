// One of a thing is told as one, by every command that tells counts.
#include "support/plurals.h"

#include <string>
#include <vector>

#include "program.h"
#include "support/catch.h"

namespace hopbench {

TEST_CASE("commands tell one exchange, one failure and one point as one") {
  const program::Folder folder;
  const std::string captures = std::string(HOPBENCH_SOURCE_DIR) + "/captures/";
  const std::string ring = captures + "ring16.txtpb";
  // One exchange without a failure, and one that fails.
  const std::string dead = " --set every_hop.bit_error=1e-2";
  REQUIRE(folder.run("run " + ring + " --exchanges 1 --capture one.hbcap").exit_code == 0);
  REQUIRE(folder.run("run " + ring + " --exchanges 1 --capture dead.hbcap" + dead).exit_code == 0);
  REQUIRE(folder
              .shell("cd '" + folder.file("") + "' && cp " + captures +
                     "mechanisms/bleed-edges.txtpb cycles.txtpb && echo 'requirement { that: \"failed <= 1%\" "
                     "acceptable: \"0.1%\" }' >> cycles.txtpb")
              .exit_code == 0);
  std::vector<std::string> commands{
      "run " + ring + " --exchanges 1",
      "run " + ring + " --exchanges 1" + dead,
      "explain " + ring + " --what-if --exchanges 1" + dead,
      "sweep " + ring + " --vary baud=9600 --for 1s" + dead,
      "soak " + ring + " --for 1s --full" + dead,
      "soak " + ring + " --for 1s --full",
      "soak cycles.txtpb --for 25h --full",
      "compare one.hbcap dead.hbcap",
  };
  for (const std::string file : {"one.hbcap", "dead.hbcap"}) {
    for (const std::string command : {"measure ", "explain ", "capture check "}) commands.push_back(command + file);
  }
  for (const std::string& command : commands) {
    INFO(command);
    const auto ran = folder.run(command);
    INFO(ran.out);
    INFO(ran.err);
    CHECK(wrong_plural(ran.out) == "");
    CHECK(wrong_plural(ran.err) == "");
    CHECK(ran.exit_code != 2);
  }
}

}  // namespace hopbench
