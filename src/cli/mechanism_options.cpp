#include "cli/mechanism_options.h"

#include <fmt/format.h>

#include <optional>
#include <string_view>

#include "cli/say.h"
#include "scenario/without.h"
#include "text/suggest.h"

namespace hopbench {
namespace {

constexpr std::string_view written = "# run without: ";

std::optional<std::vector<Mechanism>> named(const std::vector<std::string>& names, const char* option) {
  std::vector<Mechanism> found;
  for (const std::string& name : names) {
    const auto mechanism = mechanism_named(name);
    if (!mechanism) {
      std::string list;
      for (const Mechanism each : mechanisms()) list += fmt::format("{}{}", list.empty() ? "" : ", ", name_of(each));
      say_line("hopbench: {}: there is no mechanism {}; there are {}\n", option, in_quotes(name), list);
      return std::nullopt;
    }
    found.push_back(*mechanism);
  }
  return found;
}

}  // namespace

void add_mechanism_options(CLI::App& command, MechanismOptions& options) {
  command
      .add_option("--without", options.without,
                  "Switch this mechanism off, e.g. contact; several times for several (default: none)")
      ->type_name("NAME")
      ->expected(1)
      ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
  command
      .add_option(
          "--only", options.only,
          "Switch off all mechanisms but this and balancing, e.g. clock; several times for several (default: none)")
      ->type_name("NAME")
      ->expected(1)
      ->multi_option_policy(CLI::MultiOptionPolicy::TakeAll);
}

bool apply(const MechanismOptions& options, Scenario& scenario) {
  const auto off = named(options.without, "--without");
  const auto kept = off ? named(options.only, "--only") : std::nullopt;
  if (!kept) return false;
  ChainDescription reduced = scenario.chain;
  if (!kept->empty()) reduced = with_only(std::move(reduced), *kept);
  reduced = without(std::move(reduced), *off);
  std::string list;
  for (const Mechanism each : mechanisms_of(scenario.chain)) {
    if (!has_mechanism(reduced, each)) list += fmt::format("{}{}", list.empty() ? "" : " ", name_of(each));
  }
  if (list.empty()) return true;
  scenario.chain = std::move(reduced);
  scenario.scenario_text += fmt::format("\n{}{}\n", written, list);
  return true;
}

void apply_written(Scenario& scenario) {
  std::string_view text = scenario.scenario_text;
  if (!text.empty() && text.back() == '\n') text.remove_suffix(1);
  const auto start = text.rfind('\n');
  if (start == std::string_view::npos) return;
  text.remove_prefix(start + 1);
  if (!text.starts_with(written)) return;
  text.remove_prefix(written.size());
  while (!text.empty()) {
    const auto end = text.find(' ');
    const auto mechanism = mechanism_named(text.substr(0, end));
    if (mechanism) scenario.chain = without(std::move(scenario.chain), *mechanism);
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
}

}  // namespace hopbench
