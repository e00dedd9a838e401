#include "cli/scenario_file.h"

#include <fmt/format.h>

#include <utility>
#include <vector>

#include "cli/say.h"

namespace hopbench {

std::optional<Scenario> read_scenario(const std::string& path) {
  std::string why;
  const auto file = read_text_file(path, why);
  if (!file) {
    say_line("hopbench: {}: {}\n", path, why);
    return std::nullopt;
  }
  std::vector<Problem> problems;
  auto scenario = load_scenario(*file, buses_beside(path), problems);
  for (const auto& problem : problems) fmt::print(stderr, "{}", render(problem, *file));
  return scenario;
}

std::optional<Scenario> read_scenario(const std::string& path, const EditOptions& edits) {
  auto scenario = read_scenario(path);
  if (!scenario) return std::nullopt;
  return apply(edits, *std::move(scenario), path);
}

std::vector<std::string> files_read(const std::string& path, const Scenario& after_edits) {
  std::vector<std::string> files{path};
  const BusFinder noted = [&, find = buses_beside(path)](const std::string& name, std::string& why) {
    auto bus = find(name, why);
    // One that comes with hopbench is in no file.
    if (bus && !shipped_bus(name)) files.push_back(bus->name);
    return bus;
  };
  std::string why;
  std::vector<Problem> unsaid;
  if (const auto file = read_text_file(path, why)) (void)load_scenario(*file, noted, unsaid);
  (void)load_scenario({path, after_edits.scenario_text}, noted, unsaid);
  return files;
}

}  // namespace hopbench
