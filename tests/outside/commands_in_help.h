// The commands of the program and what they take, as its own help tells: a command that is added is there at once.
#pragma once

#include <sstream>
#include <string>
#include <vector>

#include "cli/program.h"

namespace hopbench::program {

struct CommandInHelp {
  std::string name;                  // as it is typed, e.g. "capture cut"
  std::vector<std::string> options;  // with their hyphens, those that take a value
  std::vector<std::string> flags;
};

/// Of `line`, which begins with two spaces and a hyphen.
inline void take_option(const std::string& line, CommandInHelp& command) {
  std::istringstream words(line);
  std::string names;
  std::string next;
  words >> names >> next;
  const auto comma = names.rfind(',');
  const std::string name = comma == std::string::npos ? names : names.substr(comma + 1);
  // One space stands before what a value is called, more before the description.
  const auto behind = line.find(names) + names.size();
  const bool value = behind + 1 < line.size() && line[behind + 1] != ' ' && next.back() != ':';
  (value ? command.options : command.flags).push_back(name);
}

/// All that can be run, below `name`; with an empty one all of the program's.
inline std::vector<CommandInHelp> commands_in_help(const Folder& folder, const std::string& name = "") {
  const auto ran = folder.run(name + " --help");
  REQUIRE(ran.exit_code == 0);
  CommandInHelp here{name, {}, {}};
  std::vector<CommandInHelp> below;
  std::istringstream lines(ran.out);
  bool subcommands = false;
  for (std::string line; std::getline(lines, line);) {
    if (!line.empty() && line.front() != ' ') subcommands = line == "Subcommands:";
    if (line.size() < 3 || line[0] != ' ' || line[1] != ' ' || line[2] == ' ') continue;
    if (subcommands) {
      const auto word = line.substr(2, line.find(' ', 2) - 2);
      for (auto& each : commands_in_help(folder, name.empty() ? word : name + " " + word)) below.push_back(each);
    } else if (line[2] == '-') {
      take_option(line, here);
    }
  }
  return below.empty() ? std::vector<CommandInHelp>{here} : below;
}

}  // namespace hopbench::program
