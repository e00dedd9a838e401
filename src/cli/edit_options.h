// The options --set and --unset of the commands that read a scenario: changed values without a copy of the file.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "text/edit.h"

namespace hopbench {

struct EditOptions {
  std::vector<std::string> set;    // PATH=VALUE
  std::vector<std::string> unset;  // PATH
  [[nodiscard]] bool any() const { return !set.empty() || !unset.empty(); }
};

/// Returns both options, for commands that have conditions for them.
std::vector<CLI::Option*> add_edit_options(CLI::App& command, EditOptions& options);

/// The scenario with what --unset names removed, and then what --set says set; `path` is that of its file, beside which
/// buses are looked for. Nothing, and one line on the standard error, for what cannot be.
std::optional<Scenario> apply(const EditOptions& options, Scenario scenario, const std::string& path);

}  // namespace hopbench
