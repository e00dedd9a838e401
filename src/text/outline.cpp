#include "text/outline.h"

#include <fmt/format.h>
#include <google/protobuf/io/tokenizer.h>
#include <google/protobuf/io/zero_copy_stream_impl_lite.h>

#include <algorithm>
#include <cctype>
#include <cstdint>
#include <limits>

#include "text/suggest.h"
#include "text/utf8.h"

namespace hopbench {
namespace {

namespace pb = google::protobuf;
using pb::FieldDescriptor;
using pb::io::Tokenizer;

/// Protobuf's words for what its tokenizer finds, in ours.
std::string in_plain_words(const std::string& message) {
  if (message.find("cross line boundaries") != std::string::npos) return "the text in quotes does not end on its line";
  if (message.find("Unexpected end of string") != std::string::npos) return "the text in quotes does not end";
  if (message.find("control characters") != std::string::npos) return "a control character stands here";
  if (message.find("non ascii") != std::string::npos) return "a character beyond ASCII stands outside of quotes";
  std::string plain = message;
  if (!plain.empty()) plain.front() = static_cast<char>(std::tolower(static_cast<unsigned char>(plain.front())));
  while (!plain.empty() && plain.back() == '.') plain.pop_back();
  return plain;
}

class TokenErrors : public pb::io::ErrorCollector {
 public:
  explicit TokenErrors(Reporter& reporter) : reporter_(&reporter) {}
  void AddError(int line, int column, const std::string& message) override {
    if (!any_) reporter_->say({line, column}, in_plain_words(message));
    any_ = true;
  }
  [[nodiscard]] bool any() const { return any_; }

 private:
  Reporter* reporter_;
  bool any_ = false;
};

/// Names of the fields that can still be given, beside those of which there are so many already.
std::vector<std::string> field_names(const pb::Descriptor& message, const std::map<int, int>& counts) {
  const auto given = [&](const FieldDescriptor& field) {
    const auto count = counts.find(field.number());
    return count != counts.end() && count->second > 0;
  };
  std::vector<std::string> names;
  for (int i = 0; i < message.field_count(); ++i) {
    const FieldDescriptor& field = *message.field(i);
    bool taken = !field.is_repeated() && given(field);
    const auto* choice = field.real_containing_oneof();
    for (int other = 0; choice != nullptr && other < choice->field_count(); ++other) {
      taken = taken || given(*choice->field(other));
    }
    if (!taken) names.push_back(field.name());
  }
  return names;
}

std::vector<std::string> value_names(const pb::EnumDescriptor& type) {
  std::vector<std::string> names;
  for (int i = 0; i < type.value_count(); ++i) names.push_back(type.value(i)->name());
  return names;
}

bool is_message(const FieldDescriptor& field) { return field.cpp_type() == FieldDescriptor::CPPTYPE_MESSAGE; }

/// What a field of this type takes, as the end of a sentence.
std::string takes(const FieldDescriptor& field) {
  switch (field.cpp_type()) {
    case FieldDescriptor::CPPTYPE_MESSAGE:
      return "takes fields in braces: " + field.name() + " { ... }";
    case FieldDescriptor::CPPTYPE_STRING:
      return "takes text in quotes";
    case FieldDescriptor::CPPTYPE_BOOL:
      return "takes true or false";
    case FieldDescriptor::CPPTYPE_ENUM: {
      std::string list;
      for (const std::string& name : value_names(*field.enum_type())) list += (list.empty() ? "" : ", ") + name;
      return "takes one of " + list;
    }
    default:
      return "takes a whole number";
  }
}

/// The walk. Every function returns false when it no longer knows where it is; then the walk ends.
class Walk {
 public:
  Walk(const TextFile& file, Reporter& reporter)
      : stream_(file.text.data(), static_cast<int>(file.text.size())),
        errors_(reporter),
        tokens_(&stream_, &errors_),
        reporter_(&reporter) {
    tokens_.set_comment_style(Tokenizer::SH_COMMENT_STYLE);
    tokens_.set_allow_f_after_float(true);
    tokens_.set_require_space_after_number(false);
    next();
  }

  void whole(const pb::Descriptor& message, Outline& outline) {
    outline.message = &message;
    (void)fields(message, outline, "", 0);
  }

 private:
  pb::io::ArrayInputStream stream_;
  TokenErrors errors_;
  Tokenizer tokens_;
  Reporter* reporter_;
  std::vector<const pb::Descriptor*> enclosing_;  // messages that the place is in, outermost first

  void next() { tokens_.Next(); }
  const Tokenizer::Token& token() { return tokens_.current(); }
  Place here() { return {token().line, token().column}; }
  bool at_end() { return token().type == Tokenizer::TYPE_END; }
  bool at(std::string_view text) { return token().text == text && token().type == Tokenizer::TYPE_SYMBOL; }
  bool take(std::string_view text) {
    if (!at(text)) return false;
    next();
    return true;
  }
  std::string shown() {
    if (at_end()) return "the end of the file";
    std::string_view text = token().text;
    if (token().type == Tokenizer::TYPE_STRING && text.size() >= 2) text = text.substr(1, text.size() - 2);
    return in_quotes(text);
  }

  bool lost(const std::string& expected) {
    if (!errors_.any()) reporter_->say(here(), fmt::format("expected {}, found {}", expected, shown()));
    return false;
  }

  bool fields(const pb::Descriptor& message, Outline& outline, std::string_view end, int depth) {
    std::map<int, int> counts;
    std::map<const pb::OneofDescriptor*, std::string> chosen;
    enclosing_.push_back(&message);
    const bool whole = fields_until(message, outline, end, depth, counts, chosen);
    enclosing_.pop_back();
    return whole;
  }

  bool fields_until(const pb::Descriptor& message, Outline& outline, std::string_view end, int depth,
                    std::map<int, int>& counts, std::map<const pb::OneofDescriptor*, std::string>& chosen) {
    while (true) {
      if (errors_.any()) return false;
      if (at_end()) {
        if (end.empty()) return true;
        reporter_->say(outline.name, fmt::format("the brace that opens here is never closed; a {} is missing", end));
        return false;
      }
      if (!end.empty() && take(end)) return true;
      if (!field(message, outline, end, depth, counts, chosen)) return false;
      if (!take(",")) take(";");
    }
  }

  bool field(const pb::Descriptor& message, Outline& outline, std::string_view end, int depth,
             std::map<int, int>& counts, std::map<const pb::OneofDescriptor*, std::string>& chosen) {
    const Place name_place = here();
    if (token().type != Tokenizer::TYPE_IDENTIFIER) {
      return lost(end.empty() ? "the name of a field" : fmt::format("the name of a field or {}", end));
    }
    const std::string name = token().text;
    next();
    const FieldDescriptor* field = message.FindFieldByName(name);
    if (field == nullptr) {
      const auto around = std::find_if(enclosing_.rbegin(), enclosing_.rend(), [&](const pb::Descriptor* each) {
        return each != &message && each->FindFieldByName(name) != nullptr;
      });
      if (around != enclosing_.rend()) {
        // Behind a missing brace nothing would be where it belongs.
        reporter_->say(name_place, fmt::format("{} has no field {}, but {} has: is a {} missing before it?",
                                               message.name(), in_quotes(name), (*around)->name(), end));
        return false;
      }
      reporter_->say(name_place, fmt::format("{} has no field {}{}", message.name(), in_quotes(name),
                                             suggestion(name, field_names(message, counts))));
      return skip_value();
    }
    int& count = counts[field->number()];
    if (!field->is_repeated() && count > 0) {
      reporter_->say(name_place, fmt::format("{} is given twice; it can be given once", name));
      return skip_value();
    }
    if (const auto* oneof = field->real_containing_oneof(); oneof != nullptr) {
      const auto [other, first] = chosen.try_emplace(oneof, name);
      if (!first && other->second != name) {
        reporter_->say(name_place, fmt::format("{} cannot be given beside {}; keep one of them", name, other->second));
        return skip_value();
      }
    }
    const bool colon = take(":");
    if (!colon && !is_message(*field)) return lost(fmt::format("\":\" after {}", name));
    if (!at("[")) return element(*field, outline, name_place, count, depth);
    if (!field->is_repeated()) {
      reporter_->say(here(), fmt::format("{} {}, not a list", name, takes(*field)));
      return skip_value();
    }
    return list(*field, outline, name_place, count, depth);
  }

  bool list(const FieldDescriptor& field, Outline& outline, Place name_place, int& count, int depth) {
    next();
    if (take("]")) return true;
    while (true) {
      if (errors_.any()) return false;
      if (!element(field, outline, name_place, count, depth)) return false;
      if (take("]")) return true;
      if (!take(",")) return lost("\",\" or \"]\" in the list");
    }
  }

  bool element(const FieldDescriptor& field, Outline& outline, Place name_place, int& count, int depth) {
    auto node = std::make_unique<Outline>();
    node->name = name_place;
    node->value = here();
    Outline& inside = *node;
    outline.inside[{field.number(), count++}] = std::move(node);
    if (!is_message(field)) return value(field);
    const bool angle = at("<");
    if (!at("{") && !angle) {
      reporter_->say(here(), fmt::format("{} {}", field.name(), takes(field)));
      return skip_value();
    }
    if (depth + 1 > max_nesting) {
      reporter_->say(here(), fmt::format("braces are nested more than {} deep", max_nesting));
      return false;
    }
    next();
    inside.message = field.message_type();
    return fields(*field.message_type(), inside, angle ? ">" : "}", depth + 1);
  }

  bool value(const FieldDescriptor& field) {
    if (at_end()) return lost("a value");
    switch (field.cpp_type()) {
      case FieldDescriptor::CPPTYPE_STRING:
        return text_value(field);
      case FieldDescriptor::CPPTYPE_BOOL:
        return word_value(field, token().text == "true" || token().text == "false");
      case FieldDescriptor::CPPTYPE_ENUM:
        return enum_value(field);
      case FieldDescriptor::CPPTYPE_UINT32:
        return whole_number(field, 0, std::numeric_limits<std::uint32_t>::max());
      case FieldDescriptor::CPPTYPE_UINT64:
        return whole_number(field, 0, std::numeric_limits<std::uint64_t>::max());
      case FieldDescriptor::CPPTYPE_INT32:
        return whole_number(field, 1U << 31U, (1U << 31U) - 1);
      case FieldDescriptor::CPPTYPE_INT64:
        return whole_number(field, std::uint64_t{1} << 63U, (std::uint64_t{1} << 63U) - 1);
      default:
        return skip_value();  // the formats have no other types; a test sees to that
    }
  }

  bool wrong_value(const FieldDescriptor& field) {
    reporter_->say(here(), fmt::format("{} {}, not {}", field.name(), takes(field), shown()));
    return skip_value();
  }

  /// A word, number or sign, and what stands directly behind it on its line: text whose quotes were forgotten, as in
  /// 250ms, 2% or a1..a3. Steps over it; empty if something else stands here.
  std::string bare_text() {
    constexpr std::string_view signs = "+-*.%/";
    const auto fits = [&] {
      return token().type == Tokenizer::TYPE_IDENTIFIER || token().type == Tokenizer::TYPE_INTEGER ||
             token().type == Tokenizer::TYPE_FLOAT ||
             (token().type == Tokenizer::TYPE_SYMBOL && signs.find(token().text) != std::string_view::npos);
    };
    std::string text;
    const int line = token().line;
    int end = token().column;
    while (!errors_.any() && fits() && token().line == line && token().column == end) {
      text += token().text;
      end = token().end_column;
      next();
    }
    return text;
  }

  bool text_value(const FieldDescriptor& field) {
    if (token().type != Tokenizer::TYPE_STRING) {
      const Place place = here();
      const std::string bare = bare_text();
      if (bare.empty()) return wrong_value(field);
      if (std::all_of(bare.begin(), bare.end(), [](char c) { return c >= '0' && c <= '9'; })) {
        // Most such fields want a unit as well.
        reporter_->say(
            place, fmt::format("{} {}, such as `hopbench field {}` says", field.name(), takes(field), field.name()));
        return true;
      }
      reporter_->say(place, fmt::format("{} {}: write {}", field.name(), takes(field), in_quotes(bare)));
      return true;
    }
    const Place place = here();
    std::string text;
    while (token().type == Tokenizer::TYPE_STRING && !errors_.any()) {
      Tokenizer::ParseStringAppend(token().text, &text);
      next();
    }
    if (field.type() == FieldDescriptor::TYPE_STRING &&
        (text.find('\0') != std::string::npos || first_bad_utf8(text) != std::string::npos)) {
      reporter_->say(place, fmt::format("{} holds bytes that are no text", field.name()));
    }
    return true;
  }

  bool word_value(const FieldDescriptor& field, bool right) {
    if (!right || token().type != Tokenizer::TYPE_IDENTIFIER) return wrong_value(field);
    next();
    return true;
  }

  bool enum_value(const FieldDescriptor& field) {
    const pb::EnumDescriptor& type = *field.enum_type();
    if (token().type != Tokenizer::TYPE_IDENTIFIER) return wrong_value(field);
    if (type.FindValueByName(token().text) != nullptr) return word_value(field, true);
    reporter_->say(here(), fmt::format("{} cannot be {}{}", field.name(), in_quotes(token().text),
                                       suggestion(token().text, value_names(type))));
    return skip_value();
  }

  /// A number from -most_negative to most_positive.
  bool whole_number(const FieldDescriptor& field, std::uint64_t most_negative, std::uint64_t most_positive) {
    const Place place = here();
    const bool negative = at("-");
    if (negative && most_negative == 0) {
      reporter_->say(place, fmt::format("{} cannot be negative", field.name()));
      return skip_value();
    }
    if (negative) next();
    const std::string text = token().text;
    if (token().type != Tokenizer::TYPE_INTEGER) return wrong_value(field);
    next();
    if (text.size() > 1 && text[0] == '0' && text[1] != 'x' && text[1] != 'X') {
      reporter_->say(place,
                     fmt::format("a number that begins with 0 would be read to the base of eight; write {} without "
                                 "the 0, or 0x for hexadecimal",
                                 in_quotes(text)));
      return true;
    }
    std::uint64_t number = 0;
    if (!Tokenizer::ParseInteger(text, negative ? most_negative : most_positive, &number)) {
      reporter_->say(place, fmt::format("{} must be {}{} to {}", field.name(), most_negative == 0 ? "" : "-",
                                        most_negative, most_positive));
    }
    return true;
  }

  /// Steps over a value whatever it is, so that the walk can go on behind it.
  bool skip_value() {
    take(":");
    int open = 0;
    do {
      if (errors_.any()) return false;
      if (at_end()) return lost("a value");
      if (open == 0 && take("-")) continue;
      if (at("{") || at("<") || at("[")) ++open;
      if (at("}") || at(">") || at("]")) {
        if (open == 0) return lost("a value");
        --open;
      }
      const bool text = token().type == Tokenizer::TYPE_STRING;
      next();
      while (text && token().type == Tokenizer::TYPE_STRING) next();
      if (open == 0) return true;
    } while (true);
  }
};

}  // namespace

Outline outline_of(const TextFile& file, const pb::Descriptor& message, Reporter& reporter) {
  Outline outline;
  if (const std::size_t bad = first_bad_utf8(file.text); bad != std::string::npos) {
    const std::string_view before = std::string_view{file.text}.substr(0, bad);
    Place place;
    for (const char c : before) {
      if (c == '\n') {
        ++place.line;
        place.column = 0;
      } else {
        place.column += c == '\t' ? 8 - place.column % 8 : 1;
      }
    }
    reporter.say(place, "this is no text: a byte that UTF-8 does not allow stands here");
    return outline;
  }
  Walk{file, reporter}.whole(message, outline);
  return outline;
}

}  // namespace hopbench
