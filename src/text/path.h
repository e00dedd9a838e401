// Dotted paths into a scenario, taken apart:
//
//   controller.time_out    kind[single].clock.error    controller.poll[cells].every    hop[into a4].bit_error
//
// Names of fields with dots between them; behind the name of a field that repeats, in brackets, which one is meant.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace hopbench {

struct PathStep {
  std::string field;
  std::optional<std::string> which;  // what stands in the brackets, spaces around it apart
};

/// What a path is followed for.
enum class WalkFor { looking, setting, removing };

/// What is wrong with a path or a value, and what would be right. Thrown by what follows paths; text/edit.h hands it on
/// as an EditProblem.
struct WrongEdit {
  std::string what;
};

/// A leading "scenario." is left out: `hopbench field` shows paths with it. Throws WrongEdit.
std::vector<PathStep> parse_path(std::string_view path);
/// Where the path of "PATH=VALUE" ends; npos if there is no "=" outside of brackets.
std::size_t end_of_path(std::string_view text);
}  // namespace hopbench
