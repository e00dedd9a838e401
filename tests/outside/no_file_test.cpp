// What is no regular file, or a large one of nothing, is refused at once by every command: nobody waits for a pipe to
// which nobody writes, and nothing is read through to its end that has no beginning of ours.
#include <algorithm>
#include <map>

#include "commands_in_help.h"
#include "support/catch.h"

namespace hopbench {
namespace {

/// {F} is the file in question.
const std::map<std::string, std::vector<std::string>> with_input{
    {"check", {"{F}"}},
    {"field", {}},  // it reads no file
    {"budget", {"{F}"}},
    {"frame", {"{F}", "bench-frame --file {F}"}},
    {"new", {"made --nodes 2x1 --bus {F}"}},
    {"coexist", {"{F} --new made --junit made"}},
    {"run", {"{F}"}},
    {"measure", {"{F}"}},
    {"explain", {"{F}", "--what-if {F}"}},
    {"compare", {"{F} {F}"}},
    {"inspect", {"{F}"}},
    {"emulate", {"{F} --pty link --for 1s", "--again {F}"}},
    {"capture check", {"{F}"}},
    {"capture cut", {"{F} made"}},
    {"capture join", {"made {F}"}},
    {"capture thin", {"{F} made"}},
    {"shrink", {"{F} --keep 'failed > 0' -o made"}},
    {"soak", {"{F}", "--resume {F}"}},
    {"sweep", {"{F} --vary baud=9600", "--merge {F}"}},
};

}  // namespace

TEST_CASE("pipes, devices, folders and gigabytes of nothing are refused at once by every command") {
  const program::Folder folder;
  REQUIRE(
      folder.shell("cd '" + folder.file(".") + "' && mkfifo pipe && mkdir folder && truncate -s 10G zeros").exit_code ==
      0);
  for (const auto& command : program::commands_in_help(folder)) {
    CAPTURE(command.name);
    const auto lines = with_input.find(command.name);
    REQUIRE(lines != with_input.end());
    for (const auto& line : lines->second) {
      for (const std::string file : {"pipe", "folder", "zeros", "/dev/zero", "/dev/full", "/dev/null", "/dev/tty"}) {
        auto arguments = line;
        for (auto at = arguments.find("{F}"); at != std::string::npos; at = arguments.find("{F}"))
          arguments.replace(at, 3, file);
        CAPTURE(arguments);
        // A tenth of the file in memory would be too much, and 124 is what it gives after a time that only a hang
        // takes.
        const auto ran =
            folder.shell("cd '" + folder.file(".") + "' && ulimit -v 1000000 && timeout 60 '" HOPBENCH_BINARY "' " +
                         command.name + " " + arguments);
        CHECK((ran.exit_code == 2 || ran.exit_code == 3));
        CHECK(ran.out.empty());
        CHECK_FALSE(ran.err.empty());
        CHECK(folder.shell("ls '" + folder.file("made") + "'").exit_code != 0);
      }
    }
  }
}

}  // namespace hopbench
