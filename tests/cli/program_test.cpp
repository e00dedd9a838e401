// What all commands have in common.
#include <algorithm>
#include <string>

#include "cli/program.h"

using hopbench::program::Folder;
using hopbench::program::Ran;

TEST_CASE("version and help") {
  const Folder folder;
  const Ran version = folder.run("--version");
  CHECK(version.exit_code == 0);
  CHECK(version.out.find("hopbench 0.1.0") == 0);
  const Ran help = folder.run("--help");
  CHECK(help.exit_code == 0);
  for (const char* words : {"Exit codes:", "  2  the command line", "check", "field"})
    CHECK(help.out.find(words) != std::string::npos);
}

TEST_CASE("a wrong command line has exit code 2 and no output") {
  const Folder folder;
  for (const char* arguments : {"", "chek x", "check", "check --no-such-option x", "field a b"}) {
    INFO(arguments);
    const Ran ran = folder.run(arguments);
    CHECK(ran.exit_code == 2);
    CHECK(ran.out.empty());
    CHECK_FALSE(ran.err.empty());
  }
  CHECK(folder.run("chek x").err == "hopbench: there is no command \"chek\"; did you mean check?\n");
}

TEST_CASE("output that nobody takes is trouble, not a crash") {
  const Folder folder;
  const Ran ran = folder.run("field >/dev/full; echo $?");
  CHECK(ran.out == "3\n");
}

TEST_CASE("options that cannot be read are one line each") {
  const Folder folder;
  const std::string run = "run " HOPBENCH_SOURCE_DIR "/captures/ring16.txtpb --exchanges 5 ";
  for (const std::string& line :
       {run + "--seed abc", run + "--keep-one-in -1 --capture x", run + "--around 2 --capture x", run + "--for 1h",
        run + "--capture ''", std::string("measure"), std::string("capture")}) {
    INFO(line);
    const Ran ran = folder.run(line);
    CHECK(ran.exit_code == 2);
    CHECK(ran.err.find("hopbench: ") == 0);
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
  }
}
