// The scenarios that come with the program.
#pragma once

#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

#include "support/catch.h"
#include "text/scenario.h"

namespace hopbench {

/// The files under captures/, in the order of their names.
inline std::vector<std::filesystem::path> shipped_scenarios() {
  std::vector<std::filesystem::path> files;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(HOPBENCH_SOURCE_DIR "/captures")) {
    if (entry.path().extension() == ".txtpb") files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  return files;
}

inline Scenario scenario_in(const std::filesystem::path& path) {
  std::string why;
  const auto file = read_text_file(path.string(), why);
  if (!file) FAIL(path.string() + " " + why);
  std::vector<Problem> problems;
  auto scenario = load_scenario(*file, buses_beside(path.string()), problems);
  if (!scenario) FAIL(render(problems.front(), *file));
  return *std::move(scenario);
}

/// By its path under captures/, without the ending.
inline Scenario shipped_scenario(const std::string& name) {
  return scenario_in(std::string(HOPBENCH_SOURCE_DIR "/captures/") + name + ".txtpb");
}

}  // namespace hopbench
