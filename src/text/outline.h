// Where everything stands in a text file. Protobuf's own parser stops at the first error, places some errors behind the
// culprit, takes reserved names without a word and reads 010 as eight; so the file is walked once, beside the
// descriptors, before that parser sees it.
#pragma once

#include <google/protobuf/descriptor.h>

#include <cstddef>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "text/problem.h"

namespace hopbench {

/// A place as the tokenizer counts: from 0, in bytes, a tab going to the next multiple of eight.
struct Place {
  int line = 0;
  int column = 0;
};

/// Thrown when a file has more problems than are told: nothing more is looked for. Does not leave src/text.
struct TooManyProblems {};

/// Gathers the problems of one file and turns places into lines and columns.
class Reporter {
 public:
  /// `file` must outlive the reporter.
  explicit Reporter(const TextFile& file);

  /// An error. Throws TooManyProblems if there are max_problems already.
  void say(Place place, std::string what);
  /// A warning. Beyond max_problems it is only counted.
  void warn(Place place, std::string what);
  /// No errors so far.
  [[nodiscard]] bool empty() const { return errors_ == 0; }
  /// As a Problem tells them, from 1.
  struct LineAndColumn {
    int line = 0;
    int column = 0;
    bool operator==(const LineAndColumn&) const = default;
  };
  [[nodiscard]] LineAndColumn shown(Place place) const;
  /// Appends what was said, in file order and each thing once, to `problems`.
  void hand_over(std::vector<Problem>& problems);

 private:
  const TextFile* file_;
  std::vector<std::size_t> line_starts_;
  struct Found {
    Place place;
    std::string what;
    Severity severity;
  };
  std::vector<Found> found_;
  std::size_t errors_ = 0;
  std::size_t warnings_ = 0;
  bool cut_ = false;

  [[nodiscard]] std::string_view line(int number) const;
};

/// One message of the text, or one value, with its places.
struct Outline {
  const google::protobuf::Descriptor* message = nullptr;           // null for a plain value
  Place name;                                                      // of the field
  Place value;                                                     // of its value; for a message that of its brace
  std::map<std::pair<int, int>, std::unique_ptr<Outline>> inside;  // by field number and index

  /// What stands at field `name`, element `index`; null if nothing does.
  [[nodiscard]] const Outline* find(std::string_view field_name, int index = 0) const;
};

/// Deepest nesting of messages.
inline constexpr int max_nesting = 16;

/// Walks the text. Everything that does not fit `message` is told to the reporter: names, kinds of value, numbers out
/// of range, things given twice. If nothing was told, Protobuf's parser takes the text as well.
Outline outline_of(const TextFile& file, const google::protobuf::Descriptor& message, Reporter& reporter);

/// A message of the text together with its place: what the loaders hold in hand to say where something is wrong.
class Spot {
 public:
  Spot(const Outline& node, Reporter& reporter) : node_(&node), reporter_(&reporter) {}

  /// The field's spot; this one itself if the text does not have it.
  [[nodiscard]] Spot in(std::string_view field, int index = 0) const;
  [[nodiscard]] bool has(std::string_view field, int index = 0) const { return node_->find(field, index) != nullptr; }
  [[nodiscard]] const google::protobuf::Descriptor* message() const { return node_->message; }
  /// Tells an error: of a value at the value, of a message at the name of its field.
  void say(std::string what) const;
  /// Tells a warning there.
  void warn(std::string what) const;

 private:
  const Outline* node_;
  Reporter* reporter_;

  [[nodiscard]] Place place() const { return node_->message == nullptr ? node_->value : node_->name; }
};

}  // namespace hopbench
