#include "text/parse.h"

#include <google/protobuf/io/tokenizer.h>
#include <google/protobuf/stubs/logging.h>
#include <google/protobuf/text_format.h>

#include <algorithm>
#include <cstddef>
#include <mutex>

#include "bus.pb.h"
#include "scenario.pb.h"

namespace hopbench {
namespace {

namespace pb = google::protobuf;

class ParserErrors : public pb::io::ErrorCollector {
 public:
  explicit ParserErrors(Reporter& reporter) : reporter_(&reporter) {}
  void AddError(int line, int column, const std::string& message) override {
    reporter_->say({std::max(line, 0), std::max(column, 0)}, message);
  }

 private:
  Reporter* reporter_;
};

/// The library would print some problems to stderr by itself.
void silence_log() {
  static std::once_flag once;
  std::call_once(once, [] { pb::SetLogHandler(nullptr); });
}

std::string_view trimmed(std::string_view text) {
  const auto from = text.find_first_not_of(" \t\r");
  if (from == std::string_view::npos) return {};
  return text.substr(from, text.find_last_not_of(" \t\r") - from + 1);
}

/// The message named by a header line; empty if there is none.
std::string_view named_message(std::string_view text) {
  constexpr std::string_view key = "proto-message:";
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    std::string_view line = trimmed(text.substr(0, end));
    text = end == std::string_view::npos ? std::string_view{} : text.substr(end + 1);
    if (line.empty()) continue;
    if (line.front() != '#') return {};
    line = trimmed(line.substr(1));
    if (line.substr(0, key.size()) == key) return trimmed(line.substr(key.size()));
  }
  return {};
}

}  // namespace

Outline parse_text(const TextFile& file, pb::Message& message, Reporter& reporter) {
  silence_log();
  if (file.text.size() > max_text_bytes) {
    reporter.say({}, "the file is larger than 1 MiB");
    return {};
  }
  Outline outline = outline_of(file, *message.GetDescriptor(), reporter);
  if (!reporter.empty()) return outline;
  ParserErrors errors{reporter};
  pb::TextFormat::Parser parser;
  parser.RecordErrorsTo(&errors);
  parser.SetRecursionLimit(max_nesting + 1);
  if (!parser.ParseFromString(file.text, &message) && reporter.empty()) reporter.say({}, "this cannot be read");
  return outline;
}

TextKind kind_of(const TextFile& file) {
  const std::string_view named = named_message(file.text);
  if (named == "hopbench.text.Bus" || named == "Bus") return TextKind::bus;
  if (named == "hopbench.text.Scenario" || named == "Scenario") return TextKind::scenario;

  const auto* scenario = text::Scenario::descriptor();
  const auto* bus = text::Bus::descriptor();
  class Silent : public pb::io::ErrorCollector {
    void AddError(int, int, const std::string&) override {}
  } silent;
  pb::io::ArrayInputStream stream{file.text.data(), static_cast<int>(std::min(file.text.size(), max_text_bytes))};
  pb::io::Tokenizer tokens{&stream, &silent};
  tokens.set_comment_style(pb::io::Tokenizer::SH_COMMENT_STYLE);
  tokens.set_require_space_after_number(false);
  int depth = 0;
  int only_scenario = 0;
  int only_bus = 0;
  bool value_follows = false;
  while (tokens.Next()) {
    const std::string& word = tokens.current().text;
    if (word == "{" || word == "[" || word == "<") ++depth;
    if (word == "}" || word == "]" || word == ">") --depth;
    if (depth == 0 && !value_follows && tokens.current().type == pb::io::Tokenizer::TYPE_IDENTIFIER) {
      const bool in_scenario = scenario->FindFieldByName(word) != nullptr;
      const bool in_bus = bus->FindFieldByName(word) != nullptr;
      if (in_scenario && !in_bus) ++only_scenario;
      if (in_bus && !in_scenario) ++only_bus;
    }
    value_follows = word == ":";
  }
  return only_bus > only_scenario ? TextKind::bus : TextKind::scenario;
}

}  // namespace hopbench
