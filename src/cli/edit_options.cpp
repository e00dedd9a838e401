#include "cli/edit_options.h"

#include <utility>
#include <variant>

#include "cli/commands.h"

namespace hopbench {
namespace {

CLI::Option* add_list(CLI::App& command, const char* name, std::vector<std::string>& to, const char* help) {
  return command.add_option(name, to, help)->expected(1)->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
}

}  // namespace

std::vector<CLI::Option*> add_edit_options(CLI::App& command, EditOptions& options) {
  auto* set = add_list(command, "--set", options.set,
                       "Change a value of the scenario, e.g. controller.time_out=200ms; may be given several times");
  auto* unset = add_list(command, "--unset", options.unset,
                         "Leave something out of the scenario, e.g. fault[late]; before --set");
  return {set->type_name("PATH=VALUE"), unset->type_name("PATH")};
}

std::optional<Scenario> apply(const EditOptions& options, Scenario scenario, const std::string& path) {
  if (!options.any()) return scenario;
  std::vector<Edit> edits;
  for (const std::string& each : options.unset) edits.push_back({each, std::nullopt});
  for (const std::string& each : options.set) {
    auto parsed = parse_edit(each);
    if (const auto* problem = std::get_if<EditProblem>(&parsed)) {
      (void)bad_input("--set: " + render(*problem));
      return std::nullopt;
    }
    edits.push_back(std::get<Edit>(std::move(parsed)));
  }
  auto changed = edited(scenario, edits, buses_beside(path));
  if (auto* good = std::get_if<Scenario>(&changed)) return std::move(*good);
  const char* whose = options.unset.empty() ? "--set: " : options.set.empty() ? "--unset: " : "--set, --unset: ";
  (void)bad_input(whose + render(std::get<EditProblem>(changed)));
  return std::nullopt;
}

}  // namespace hopbench
