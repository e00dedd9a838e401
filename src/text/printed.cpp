#include "text/printed.h"

#include <fmt/format.h>
#include <google/protobuf/text_format.h>

#include <algorithm>
#include <stdexcept>

#include "text/parse.h"

namespace hopbench {
namespace {

namespace pb = google::protobuf;
using pb::FieldDescriptor;

constexpr std::string_view head = "# proto-message: hopbench.text.Scenario\n";

pb::TextFormat::Printer printer(bool one_line) {
  pb::TextFormat::Printer printer;
  printer.SetUseUtf8StringEscaping(true);
  printer.SetSingleLineMode(one_line);
  return printer;
}

/// It reads the same without quotes.
bool plain(std::string_view text) {
  if (text.empty() || text.front() == '"') return false;
  return std::none_of(text.begin(), text.end(),
                      [](char c) { return static_cast<unsigned char>(c) < 0x20U || c == 0x7f; });
}

std::string element_in_file(const pb::Message& owner, const FieldDescriptor& field, int index) {
  std::string text;
  if (field.cpp_type() == FieldDescriptor::CPPTYPE_MESSAGE) {
    const auto* reflection = owner.GetReflection();
    printer(true).PrintToString(
        index < 0 ? reflection->GetMessage(owner, &field) : reflection->GetRepeatedMessage(owner, &field, index),
        &text);
    return "{ " + text + "}";
  }
  printer(true).PrintFieldValueToString(owner, &field, index, &text);
  return text;
}

/// Path of the place below `message`, which stands in `outline`; empty if it is none of its parts.
std::string path_below(const pb::Message& message, const Outline& outline, const Reporter& reporter,
                       const Reporter::LineAndColumn& place) {
  const auto* reflection = message.GetReflection();
  for (const auto& [where, part] : outline.inside) {
    const FieldDescriptor* field = message.GetDescriptor()->FindFieldByNumber(where.first);
    const bool is_message = part->message != nullptr;
    std::string step = field->name();
    const pb::Message* inner = nullptr;
    if (is_message)
      inner = field->is_repeated() ? &reflection->GetRepeatedMessage(message, field, where.second)
                                   : &reflection->GetMessage(message, field);
    if (field->is_repeated()) {
      const std::string name = is_message ? name_of_element(*inner) : std::string();
      step += name.empty() ? fmt::format("[{}]", where.second) : fmt::format("[{}]", name);
    }
    if (reporter.shown(is_message ? part->name : part->value) == place) return step;
    if (!is_message) continue;
    if (const std::string below = path_below(*inner, *part, reporter, place); !below.empty()) return step + "." + below;
  }
  return {};
}

}  // namespace

text::Scenario parsed(const Scenario& loaded) {
  text::Scenario message;
  const TextFile file{"scenario", loaded.scenario_text};
  Reporter reporter(file);
  (void)parse_text(file, message, reporter);
  if (!reporter.empty()) throw std::logic_error("a scenario that was loaded cannot be read again");
  return message;
}

std::string printed(const text::Scenario& scenario) {
  std::string text;
  if (!printer(false).PrintToString(scenario, &text)) text.clear();
  return std::string(head) + text;
}

std::string printed_value(const pb::Message& owner, const FieldDescriptor& field, int index) {
  if (field.is_repeated() && index < 0) {
    std::string list;
    for (int i = 0; i < owner.GetReflection()->FieldSize(owner, &field); ++i)
      list += (i == 0 ? "" : ", ") + element_in_file(owner, field, i);
    return "[" + list + "]";
  }
  if (field.type() != FieldDescriptor::TYPE_STRING) return element_in_file(owner, field, index);
  const auto* reflection = owner.GetReflection();
  std::string text =
      index < 0 ? reflection->GetString(owner, &field) : reflection->GetRepeatedString(owner, &field, index);
  return plain(text) ? text : element_in_file(owner, field, index);
}

std::string name_of_element(const pb::Message& element) {
  for (const char* key : {"name", "node", "field"}) {
    const FieldDescriptor* field = element.GetDescriptor()->FindFieldByName(key);
    if (field != nullptr && field->type() == FieldDescriptor::TYPE_STRING && !field->is_repeated())
      return element.GetReflection()->GetString(element, field);
  }
  return {};
}

std::string path_at(const text::Scenario& scenario, const std::string& text, int line, int column) {
  const TextFile file{"printed", text};
  Reporter reporter(file);
  const Outline outline = outline_of(file, *text::Scenario::descriptor(), reporter);
  return path_below(scenario, outline, reporter, {line, column});
}

}  // namespace hopbench
