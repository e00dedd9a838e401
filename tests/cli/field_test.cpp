// hopbench field, from the outside.
#include <algorithm>

#include "cli/program.h"

using hopbench::program::Folder;
using hopbench::program::Ran;

TEST_CASE("a field is explained with path, type and meaning") {
  const Folder folder;
  const Ran ran = folder.run("field time_out");
  CHECK(ran.exit_code == 0);
  CHECK(ran.out ==
        "scenario.controller.time_out  (text in quotes)\n"
        "    How long it waits for an answer, from the last edge of the ask. Duration,\n"
        "    longer than 0. Default \"500ms\".\n\n");
}

TEST_CASE("an enumeration is explained with its values, by its name and by a value's") {
  const Folder folder;
  const Ran by_name = folder.run("field forward.repair");
  CHECK(by_name.exit_code == 0);
  CHECK(by_name.out.find("bus.forward.repair  (one of the values below)") == 0);
  CHECK(by_name.out.find("      BY_DIFFERENCE: Adjusted by what was changed: a bad check stays bad.\n") !=
        std::string::npos);
  CHECK(folder.run("field BY_DIFFERENCE").out == by_name.out);
}

TEST_CASE("without a name all fields are listed, within a hundred columns") {
  const Folder folder;
  const Ran ran = folder.run("field");
  CHECK(ran.exit_code == 0);
  for (const char* path :
       {"\nscenario.seed\n", "\nscenario.controller.poll.with.own\n", "\nbus.part.check.crc.poly\n"}) {
    CHECK(ran.out.find(path) != std::string::npos);
  }
  std::size_t longest = 0;
  for (std::size_t from = 0; from < ran.out.size();) {
    const std::size_t end = std::min(ran.out.find('\n', from), ran.out.size());
    longest = std::max(longest, end - from);
    from = end + 1;
  }
  CHECK(longest <= 100);
}

TEST_CASE("an unknown field brings the nearest one") {
  const Folder folder;
  const Ran ran = folder.run("field controller.tim_out");
  CHECK(ran.exit_code == 2);
  CHECK(ran.out.empty());
  CHECK(ran.err == "hopbench field: there is no field \"controller.tim_out\"; did you mean time_out?\n");
  CHECK(folder.run("field qqqqqqqq").err ==
        "hopbench field: there is no field \"qqqqqqqq\"; hopbench field lists them all\n");
}
