// What a command makes is never what it works on, under whatever name: every input is there afterwards as it was.
#include <algorithm>
#include <map>

#include "commands_in_help.h"
#include "support/catch.h"

namespace hopbench {
namespace {

const std::string scenario = R"(# proto-message: hopbench.text.Scenario
name: "small" seed: 3 run_for: "10s" bus: "mine.txtpb" baud: 19200 shape: RING
kind { name: "k" }
kind { name: "l" }
nodes { name: "a" count: 2 kind: "k" }
hop { into: "a2" bit_error: "2e-3" }
controller { time_out: "250ms" gap: "5ms" retries: 1
  poll { name: "cells" topic: "readings" nodes: "*" with { field: "first" value: 0 } with { field: "count" own: CELLS } }
}
)";

/// Each command that makes a file, {O}; the rest is what it works on.
const std::map<std::string, std::vector<std::string>> with_output{
    {"run", {"s.txtpb --capture {O}"}},
    {"emulate", {"s.txtpb --pty link --for 20ms --capture {O}", "--again session.cap --capture {O}"}},
    {"new", {"{O} --bus mine.txtpb", "{O} --bus mine.txtpb --force"}},
    {"capture cut", {"c.cap {O}"}},
    {"capture join", {"{O} c.cap", "{O} c.cap c.0001.cap"}},
    {"capture thin", {"c.cap {O}"}},
    {"coexist",
     {"s.txtpb --new l --old k --promise cost --junit {O}",
      "s.txtpb --new l --old k --promise cost --junit {O} --force"}},
    {"shrink",
     {"s.txtpb --keep 'failed > 0' -o {O}", "s.txtpb --keep 'failed > 0' -o {O} --force",
      "s.txtpb --set bus=other.txtpb --keep 'failed > 0' -o {O} --force"}},
};

bool makes_a_file(const program::CommandInHelp& command, const std::string& help) {
  const auto has = [&](const char* option) {
    return std::find(command.options.begin(), command.options.end(), option) != command.options.end();
  };
  return has("--capture") || has("--output") || has("--junit") || help.find("\n  OUT ") != std::string::npos;
}

}  // namespace

TEST_CASE("no output is an input of the command, under whatever name") {
  const program::Folder folder;
  folder.write("s.txtpb", scenario);
  for (const char* bus : {"mine.txtpb", "other.txtpb"}) {
    folder.write(bus, folder.shell("cat '" HOPBENCH_SOURCE_DIR "/proto/buses/bench-frame.txtpb'").out);
  }
  REQUIRE(folder.run("run s.txtpb --for 1h --capture c.cap --rotate 1MB").exit_code == 0);
  REQUIRE(folder.run("emulate s.txtpb --pty link --for 20ms --capture session.cap").exit_code == 0);
  folder.write("c.cap.notes", "0\tnoted\n");
  const std::vector<std::string> inputs{"s.txtpb",    "mine.txtpb",  "other.txtpb", "c.cap",
                                        "c.0001.cap", "c.cap.notes", "session.cap"};
  std::map<std::string, std::string> before;
  for (const auto& input : inputs) {
    INFO(input);
    before[input] = folder.read(input);
    REQUIRE_FALSE(before[input].empty());
    const auto links = "ln '" + folder.file(input) + "' '" + folder.file("hard-" + input) + "'; ln -s " + input + " '" +
                       folder.file("soft-" + input) + "'";
    REQUIRE(folder.shell(links).exit_code == 0);
  }
  for (const auto& command : program::commands_in_help(folder)) {
    const auto found = with_output.find(command.name);
    CAPTURE(command.name);
    CHECK(makes_a_file(command, folder.run(command.name + " --help").out) == (found != with_output.end()));
    if (found == with_output.end()) continue;
    for (const auto& line : found->second) {
      for (const auto& input : inputs) {
        for (const std::string& name : {input, "./" + input, folder.file(input), "hard-" + input, "soft-" + input}) {
          auto arguments = line;
          arguments.replace(arguments.find("{O}"), 3, "'" + name + "'");
          CAPTURE(arguments);
          const bool works_on_it = line.find(input) != std::string::npos || input == "mine.txtpb";
          const bool replaces = line.find("--force") != std::string::npos && !works_on_it;
          if (replaces) continue;  // that is what --force is for
          const auto ran = folder.run(command.name + " " + arguments);
          CHECK((ran.exit_code == 2 || ran.exit_code == 3));
          CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') >= 1);
          CHECK(folder.read(input) == before[input]);
          CHECK(folder.read(name.rfind('/') == std::string::npos ? name : input) == before[input]);
        }
      }
    }
  }
  // With --force what is no input is replaced, also through none of its names.
  folder.write("old.txtpb", "old");
  CHECK(folder.run("shrink s.txtpb --keep 'failed > 0' -o old.txtpb --force").exit_code == 0);
  CHECK(folder.read("old.txtpb") != "old");
}

}  // namespace hopbench
