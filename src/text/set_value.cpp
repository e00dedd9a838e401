#include "text/set_value.h"

#include <fmt/format.h>
#include <google/protobuf/stubs/strutil.h>

#include <memory>
#include <optional>
#include <vector>

#include "text/parse.h"
#include "text/path.h"
#include "text/suggest.h"

namespace hopbench {
namespace {

namespace pb = google::protobuf;
using pb::FieldDescriptor;

bool is_message(const FieldDescriptor& field) { return field.cpp_type() == FieldDescriptor::CPPTYPE_MESSAGE; }
bool is_text(const FieldDescriptor& field) { return field.cpp_type() == FieldDescriptor::CPPTYPE_STRING; }

std::string_view trimmed(std::string_view text) {
  constexpr std::string_view spaces = " \t\r\n";
  const auto from = text.find_first_not_of(spaces);
  if (from == std::string_view::npos) return {};
  return text.substr(from, text.find_last_not_of(spaces) - from + 1);
}

bool within(std::string_view text, char first, char last) {
  return text.size() >= 2 && text.front() == first && text.back() == last;
}

/// Pieces between commas that stand in no quotes.
std::vector<std::string_view> split(std::string_view list) {
  std::vector<std::string_view> pieces;
  bool quoted = false;
  std::size_t start = 0;
  for (std::size_t i = 0; i < list.size(); ++i) {
    if (quoted && list[i] == '\\') {
      ++i;
    } else if (list[i] == '"') {
      quoted = !quoted;
    } else if (list[i] == ',' && !quoted) {
      pieces.push_back(trimmed(list.substr(start, i - start)));
      start = i + 1;
    }
  }
  if (const auto last = trimmed(list.substr(start)); !last.empty() || !pieces.empty()) pieces.push_back(last);
  return pieces;
}

/// One value as it stands in a file. What can be none is put in quotes, so that it is told as what it is.
std::string in_file(const FieldDescriptor& field, std::string_view value) {
  if (is_message(field))
    return within(value, '{', '}') ? std::string(value) : '"' + pb::CEscape(std::string(value)) + '"';
  if (is_text(field)) {
    if (within(value, '"', '"')) return std::string(value);
    const bool bytes = field.type() == FieldDescriptor::TYPE_BYTES;  // written with \x.. in a file, and here
    return '"' + (bytes ? std::string(value) : pb::strings::Utf8SafeCEscape(std::string(value))) + '"';
  }
  constexpr std::string_view of_a_word = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_+-.";
  const bool word = !value.empty() && value.find_first_not_of(of_a_word) == std::string_view::npos;
  return word ? std::string(value) : '"' + pb::CEscape(std::string(value)) + '"';
}

/// Reads "name: value" and nothing else into a message of its own. `elements`: how many of them it must be.
std::unique_ptr<pb::Message> read_alone(const pb::Message& owner, const FieldDescriptor& field, const std::string& text,
                                        std::optional<std::size_t> elements) {
  std::unique_ptr<pb::Message> alone(owner.New());
  const TextFile file{"value", fmt::format("{}: {}", field.name(), text)};
  Reporter reporter(file);
  Outline outline;
  try {
    outline = parse_text(file, *alone, reporter);
  } catch (const TooManyProblems&) {
    // What was found up to here is told.
  }
  std::vector<Problem> problems;
  reporter.hand_over(problems);
  bool others = false;
  for (const auto& [place, inside] : outline.inside) others = others || place.first != field.number();
  if (others || (problems.empty() && elements && outline.inside.size() != *elements))
    throw WrongEdit{fmt::format("{} is more than one value", in_quotes(text))};
  if (!problems.empty()) throw WrongEdit{problems.front().what};
  return alone;
}

}  // namespace

void set_value(pb::Message& owner, const FieldDescriptor& field, int index, std::string_view value) {
  const auto* reflection = owner.GetReflection();
  const std::string_view bare = is_text(field) && !field.is_repeated() ? value : trimmed(value);
  std::unique_ptr<pb::Message> alone;
  if (field.is_repeated() && index == whole_field && within(bare, '[', ']')) {
    const std::string_view list = bare.substr(1, bare.size() - 2);
    std::string text;
    std::optional<std::size_t> elements;
    if (is_message(field)) {
      text = list;
    } else {
      const std::vector<std::string_view> pieces = split(list);
      for (const std::string_view piece : pieces) text += (text.empty() ? "" : ", ") + in_file(field, piece);
      elements = pieces.size();
    }
    alone = read_alone(owner, field, "[" + text + "]", elements);
  } else if (field.is_repeated() && index == whole_field && is_message(field)) {
    throw WrongEdit{fmt::format(
        "{0} is a list: write {0}[0], {0}[+] for one more, or all of it as [{{ ... }}, {{ ... }}]", field.name())};
  } else {
    alone = read_alone(owner, field, in_file(field, bare), 1);
  }
  // A field without a presence of its own that is empty is one that is not there; a file would be told.
  if (is_text(field) && !field.is_repeated() && !field.has_presence() &&
      !alone->GetReflection()->HasField(*alone, &field))
    throw WrongEdit{fmt::format("{} is empty; a field that is not wanted is removed", field.name())};

  if (index == whole_field) reflection->ClearField(&owner, &field);
  const int behind = field.is_repeated() ? reflection->FieldSize(owner, &field) : 0;
  owner.MergeFrom(*alone);
  if (field.is_repeated() && index >= 0) {
    reflection->SwapElements(&owner, &field, index, behind);
    reflection->RemoveLast(&owner, &field);
  }
}

}  // namespace hopbench
