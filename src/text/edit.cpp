#include "text/edit.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "text/parse.h"
#include "text/path.h"
#include "text/path_walk.h"
#include "text/printed.h"
#include "text/set_value.h"

namespace hopbench {
namespace {

/// Names of the fields on a path, whichever elements it names.
std::vector<std::string> fields_of(const std::string& path) {
  std::vector<std::string> fields;
  try {
    for (PathStep& step : parse_path(path)) fields.push_back(step.field == "node" ? "nodes" : std::move(step.field));
  } catch (const WrongEdit&) {
    fields.clear();
  }
  return fields;
}

/// One leads to the other, or to a part of it.
bool on_one_way(const std::vector<std::string>& a, const std::vector<std::string>& b) {
  const std::size_t both = std::min(a.size(), b.size());
  return both > 0 && std::equal(a.begin(), a.begin() + static_cast<std::ptrdiff_t>(both), b.begin());
}

/// A problem of the loaded text, at the edit that it comes from, if there is just one that it can come from.
EditProblem blamed(const Problem& problem, const std::string& path, std::span<const Edit> edits) {
  const auto fields = fields_of(path);
  std::string what = problem.what;
  // Its field stands in the path already.
  if (!fields.empty() && what.starts_with(fields.back() + ": ")) what.erase(0, fields.back().size() + 2);
  const Edit* only = nullptr;
  int found = 0;
  for (const Edit& edit : edits) {
    if (edit.path == path) return {path, what};
    if (!on_one_way(fields, fields_of(edit.path))) continue;
    only = &edit;
    ++found;
  }
  return {found == 1 ? only->path : path, what};
}

}  // namespace

struct ScenarioTree::Impl {
  text::Scenario scenario;
};

std::string render(const EditProblem& problem) {
  constexpr std::size_t most = 120;  // bytes of the path
  std::size_t end = std::min(problem.path.size(), most);
  while (end > 0 && end < problem.path.size() && (static_cast<unsigned char>(problem.path[end]) & 0xc0U) == 0x80U)
    --end;
  const std::string path = problem.path.substr(0, end) + (end < problem.path.size() ? "..." : "");
  std::string line = path.empty() ? problem.what : fmt::format("{}: {}", path, problem.what);
  for (char& c : line) {
    if (static_cast<unsigned char>(c) < 0x20U || c == 0x7f) c = '?';
  }
  return line;
}

std::variant<Edit, EditProblem> parse_edit(std::string_view text) {
  const std::size_t end = end_of_path(text);
  if (end == std::string_view::npos)
    return EditProblem{std::string(text),
                       "a value is missing: write PATH=VALUE, for example controller.time_out=200ms"};
  return Edit{std::string(text.substr(0, end)), std::string(text.substr(end + 1))};
}

ScenarioTree::ScenarioTree(const Scenario& scenario) : impl_(std::make_unique<Impl>(parsed(scenario))) {}

ScenarioTree::~ScenarioTree() = default;
ScenarioTree::ScenarioTree(ScenarioTree&&) noexcept = default;
ScenarioTree& ScenarioTree::operator=(ScenarioTree&&) noexcept = default;

std::variant<std::vector<std::string>, EditProblem> ScenarioTree::get(std::string_view path) const {
  text::Scenario looked_at = impl_->scenario;
  std::vector<std::string> values;
  try {
    for (const PathEnd& end : walk(looked_at, parse_path(path), WalkFor::looking))
      values.push_back(printed_value(*end.owner, *end.field, end.index));
  } catch (const WrongEdit& wrong) {
    return EditProblem{std::string(path), wrong.what};
  }
  return values;
}

std::optional<EditProblem> ScenarioTree::apply(std::span<const Edit> edits) {
  text::Scenario changed = impl_->scenario;
  for (const Edit& edit : edits) {
    try {
      const WalkFor what = edit.value ? WalkFor::setting : WalkFor::removing;
      std::vector<PathEnd> ends = walk(changed, parse_path(edit.path), what);
      if (!edit.value) {
        remove_all(std::move(ends));
      } else {
        for (const PathEnd& end : ends) set_value(*end.owner, *end.field, end.index, *edit.value);
      }
    } catch (const WrongEdit& wrong) {
      return EditProblem{edit.path, wrong.what};
    }
  }
  impl_->scenario = std::move(changed);
  return std::nullopt;
}

std::string ScenarioTree::text() const { return printed(impl_->scenario); }

std::string ScenarioTree::path_at(int line, int column) const {
  return hopbench::path_at(impl_->scenario, text(), line, column);
}

std::variant<Scenario, EditProblem> edited(const Scenario& scenario, std::span<const Edit> edits,
                                           const BusFinder& buses) {
  ScenarioTree tree(scenario);
  if (auto problem = tree.apply(edits)) return *problem;
  const TextFile file{"scenario", tree.text()};
  std::vector<Problem> problems;
  auto loaded = load_scenario(file, buses, problems);
  if (loaded) return *std::move(loaded);
  Problem& first = problems.front();
  if (problems.size() > 1) first.what += fmt::format(" (the first of {} problems)", problems.size());
  // Something in the file of a bus that was set.
  if (first.file != file.name)
    return EditProblem{"bus", fmt::format("{}:{}:{}: {}", first.file, first.line, first.column, first.what)};
  return blamed(first, tree.path_at(first.line, first.column), edits);
}

}  // namespace hopbench
