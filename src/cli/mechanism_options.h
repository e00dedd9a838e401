// The options --without and --only of the commands that run a scenario.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "text/scenario.h"

namespace hopbench {

struct MechanismOptions {
  std::vector<std::string> without;
  std::vector<std::string> only;
  [[nodiscard]] bool any() const { return !without.empty() || !only.empty(); }
};

void add_mechanism_options(CLI::App& command, MechanismOptions& options);
/// Takes out of the chain what the options say, and writes that down in a last line of the scenario's text, so that a
/// capture tells it and is not taken for one of the whole scenario. False, and one line on the standard error, for a
/// name that there is not.
bool apply(const MechanismOptions& options, Scenario& scenario);
/// Takes out of the chain what such a last line says. For scenarios that were stored in a capture.
void apply_written(Scenario& scenario);

}  // namespace hopbench
