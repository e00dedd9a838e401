// Scenarios from text: the chain and its bus as plain structs, ready to be run.
#pragma once

#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "bus/description.h"
#include "scenario/description.h"
#include "text/problem.h"
#include "text/requirement.h"

namespace hopbench {

struct Scenario {
  BusDescription bus;  // the scenario's baud rate is in it
  ChainDescription chain;
  std::vector<Requirement> requirements;
  std::string scenario_text;  // as read; together with the next one it can be loaded again
  std::string bus_text;       // of the bus description; empty if it stands in the scenario itself
};

/// Brings the text of a bus description that a scenario names. Without a result `why` says why in a few words that go
/// behind the name ("cannot be read: ...").
using BusFinder = std::function<std::optional<TextFile>(const std::string& name, std::string& why)>;

/// Bus descriptions that come with hopbench, by their names without ".txtpb".
std::vector<std::string> shipped_bus_names();
/// Text of one of them; none if there is no such one.
std::optional<TextFile> shipped_bus(std::string_view name);

/// Finds what a user means: a name with a "/" in it or ending in ".txtpb" is a path, relative to the folder of
/// `scenario_path`; any other is one of those that come with hopbench.
BusFinder buses_beside(std::string scenario_path);
/// Finds the one text whatever name is asked for: for scenarios that were stored together with their bus.
BusFinder stored_bus(std::string bus_text);

/// Reads a scenario. Without a result, what is wrong has been appended to `problems`: of each file in file order, the
/// bus description's first. With one, there may be warnings.
std::optional<Scenario> load_scenario(const TextFile& file, const BusFinder& buses, std::vector<Problem>& problems);

/// The same for a scenario that has been run already, from a capture: it must say something, but whether it can work is
/// not looked at, since another hopbench may have judged that otherwise. No warnings.
std::optional<Scenario> load_recorded(const TextFile& file, const BusFinder& buses, std::vector<Problem>& problems);

}  // namespace hopbench
