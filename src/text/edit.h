// A scenario with some of its values changed by paths: for one changed value on the command line, for sweeps, and for
// what cuts scenarios down. docs/scenario.md has a section on paths.
#pragma once

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "text/scenario.h"

namespace hopbench {

struct Edit {
  std::string path;                  // "controller.time_out", "kind[single].clock.error", "hop[into a4].bit_error"
  std::optional<std::string> value;  // as in a file, text without quotes; none: what stands there is removed
};

/// What is wrong with an edit, or with the scenario after it, and what would be right.
struct EditProblem {
  std::string path;  // where: that of the edit, or of what no longer fits it; empty: the scenario as a whole
  std::string what;  // one line, no full stop
};

/// "path: what", cut if long, without control characters.
std::string render(const EditProblem& problem);

/// From "PATH=VALUE".
std::variant<Edit, EditProblem> parse_edit(std::string_view text);

/// A scenario's text as a tree.
class ScenarioTree {
 public:
  /// `scenario` was loaded from its text; throws std::logic_error if that cannot be read again.
  explicit ScenarioTree(const Scenario& scenario);
  ~ScenarioTree();
  ScenarioTree(ScenarioTree&&) noexcept;
  ScenarioTree& operator=(ScenarioTree&&) noexcept;

  /// The values that the path leads to, each as an edit takes it; at least one.
  [[nodiscard]] std::variant<std::vector<std::string>, EditProblem> get(std::string_view path) const;
  /// Makes the edits, one after the other, all or none. Values are held against their type; whether the scenario is
  /// still a good one is what loading its text tells.
  std::optional<EditProblem> apply(std::span<const Edit> edits);
  /// In the bench's canonical order, without comments; load_scenario() takes it.
  [[nodiscard]] std::string text() const;
  /// The path of what stands at this place (from 1) of text(); empty for the scenario as a whole.
  [[nodiscard]] std::string path_at(int line, int column) const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// The scenario with the edits made, loaded again. `buses`: as for load_scenario().
std::variant<Scenario, EditProblem> edited(const Scenario& scenario, std::span<const Edit> edits,
                                           const BusFinder& buses);

}  // namespace hopbench
