#include "text/path.h"

#include <fmt/format.h>

#include "text/suggest.h"

namespace hopbench {
namespace {

constexpr std::size_t longest_path = 1000;  // bytes
constexpr std::size_t longest_which = 200;  // in brackets: two names of 64 and some words

bool is_of_name(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

}  // namespace

std::vector<PathStep> parse_path(std::string_view path) {
  constexpr std::string_view example = "for example controller.time_out or kind[single].cells";
  if (path.empty()) throw WrongEdit{fmt::format("the path is missing, {}", example)};
  if (path.size() > longest_path) throw WrongEdit{fmt::format("a path has at most {} characters", longest_path)};
  std::vector<PathStep> steps;
  std::string_view rest = path;
  while (true) {
    PathStep& step = steps.emplace_back();
    while (!rest.empty() && is_of_name(rest.front())) {
      step.field += rest.front();
      rest.remove_prefix(1);
    }
    if (step.field.empty()) {
      throw WrongEdit{rest.empty()
                          ? fmt::format("the name of a field is missing at the end, {}", example)
                          : fmt::format("the name of a field is missing before {}, {}", in_quotes(rest), example)};
    }
    if (rest.starts_with('[')) {
      const std::size_t end = rest.find(']');
      if (end == std::string_view::npos) throw WrongEdit{fmt::format("a ] is missing behind {}", in_quotes(rest))};
      step.which = trimmed(rest.substr(1, end - 1));
      if (step.which->empty())
        throw WrongEdit{
            fmt::format("the brackets behind {} are empty: write a name, a number from 0 or *", step.field)};
      if (step.which->size() > longest_which)
        throw WrongEdit{fmt::format("what stands in the brackets behind {} is too long", step.field)};
      rest.remove_prefix(end + 1);
    }
    if (rest.empty()) break;
    if (rest.front() != '.') throw WrongEdit{fmt::format("a dot is missing before {}", in_quotes(rest))};
    rest.remove_prefix(1);
  }
  if (steps.size() > 1 && steps.front().field == "scenario" && !steps.front().which) steps.erase(steps.begin());
  return steps;
}

std::size_t end_of_path(std::string_view text) {
  bool inside = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '=' && !inside) return i;
    if (text[i] == '[') inside = true;
    if (text[i] == ']') inside = false;
  }
  return std::string_view::npos;
}

}  // namespace hopbench
