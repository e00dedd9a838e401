#include "text/vary.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <utility>

#include "text/decimal_steps.h"
#include "text/path.h"
#include "text/suggest.h"

namespace hopbench {
namespace {

std::string_view without_spaces(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

/// Between commas, but for those within brackets, braces and quotes.
std::vector<std::string_view> items_of(std::string_view text) {
  std::vector<std::string_view> items;
  std::size_t from = 0;
  int depth = 0;
  bool quoted = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (quoted) {
      if (c == '\\') ++i;
      quoted = c != '"';
      continue;
    }
    quoted = c == '"';
    if (c == '[' || c == '{') ++depth;
    if (c == ']' || c == '}') --depth;
    if (c != ',' || depth > 0) continue;
    items.push_back(without_spaces(text.substr(from, i - from)));
    from = i + 1;
  }
  items.push_back(without_spaces(text.substr(from)));
  return items;
}

constexpr std::string_view how_to_go_on = "say how it goes on, for example 100ms..400ms +50ms or 9600..76800 x2";

/// What stands behind the first number of a range.
struct RangeEnd {
  UnitNumber last;
  bool times = false;
  UnitNumber step;
};

/// Where the step of a range begins: not at the sign of an exponent.
std::size_t begin_of_step(std::string_view text) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool of_exponent = text[i] == '+' && i > 0 && (text[i - 1] == 'e' || text[i - 1] == 'E');
    if (text[i] == ' ' || text[i] == 'x' || (text[i] == '+' && !of_exponent)) return i;
  }
  return std::string_view::npos;
}

RangeEnd end_of_range(std::string_view item, std::string_view rest, const UnitNumber& first) {
  const std::size_t space = begin_of_step(rest);
  const auto last = read_unit_number(without_spaces(rest.substr(0, space)));
  if (!last) throw WrongEdit{fmt::format("{}: a number is missing behind the ..", in_quotes(item))};
  if (last->unit != first.unit) {
    throw WrongEdit{fmt::format("{}: both ends need the same unit, for example 100ms..1500ms +100ms", in_quotes(item))};
  }
  const std::string_view step = space == std::string_view::npos ? "" : without_spaces(rest.substr(space));
  if (step.empty()) {
    if (!first.unit.empty() || !first.is_whole() || !last->is_whole())
      throw WrongEdit{fmt::format("{}: {}", in_quotes(item), how_to_go_on)};
    return {*last, false, *read_unit_number("1")};
  }
  const bool times = step.front() == 'x';
  const auto by = read_unit_number(without_spaces(step.substr(1)));
  if ((!times && step.front() != '+') || !by) throw WrongEdit{fmt::format("{}: {}", in_quotes(item), how_to_go_on)};
  if (by->unit != (times ? "" : first.unit)) {
    throw WrongEdit{fmt::format("{}: {}", in_quotes(item),
                                times ? "the factor has no unit" : "the step needs the unit of the ends")};
  }
  return {*last, times, *by};
}

/// Nothing if it is no range.
std::optional<std::vector<std::string>> range(std::string_view item) {
  const std::size_t dots = item.find("..");
  if (dots == std::string_view::npos) return std::nullopt;
  const auto first = read_unit_number(without_spaces(item.substr(0, dots)));
  if (!first) return std::nullopt;
  const RangeEnd end = end_of_range(item, without_spaces(item.substr(dots + 2)), *first);
  std::string why;
  auto values = decimal_steps(*first, end.last, end.times, end.step, most_varied_values, why);
  if (!values) throw WrongEdit{fmt::format("{}: {}", in_quotes(item), why)};
  return values;
}

std::vector<std::string> values_of(std::string_view text) {
  std::vector<std::string> values;
  for (const std::string_view item : items_of(text)) {
    if (item.empty()) throw WrongEdit{"a value is missing: write values with commas between them, for example 0,1,2"};
    auto several = range(item);
    if (!several) several = std::vector<std::string>{std::string(item)};
    for (std::string& value : *several) {
      if (std::find(values.begin(), values.end(), value) != values.end())
        throw WrongEdit{fmt::format("{} is there twice", in_quotes(value))};
      if (values.size() == most_varied_values)
        throw WrongEdit{fmt::format("a field takes at most {} values", most_varied_values)};
      values.push_back(std::move(value));
    }
  }
  return values;
}

}  // namespace

std::variant<Vary, EditProblem> parse_vary(std::string_view text) {
  const std::size_t end = end_of_path(text);
  if (end == std::string_view::npos) {
    return EditProblem{std::string(text),
                       "values are missing: write FIELD=VALUES, for example controller.retries=0,1,2"};
  }
  std::string path(text.substr(0, end));
  constexpr std::string_view top = "scenario.";  // one field has one name here
  if (path.size() > top.size() && path.starts_with(top)) path.erase(0, top.size());
  try {
    (void)parse_path(path);
    return Vary{path, values_of(text.substr(end + 1))};
  } catch (const WrongEdit& wrong) {
    return EditProblem{path, wrong.what};
  }
}

}  // namespace hopbench
