// What every field of the text formats means: the comments of proto/bus.proto and proto/scenario.proto, which are part
// of the binary.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace hopbench {

/// One field, wherever it can stand.
struct FieldDoc {
  std::vector<std::string>
      paths;         // "scenario.controller.retries"; more than one if the same message stands in several places
  std::string type;  // in plain words: "text", "whole number", "one of ...", "fields in braces"
  bool repeated = false;
  std::string comment;  // one line, empty if the .proto has none (a test sees to that)
  std::vector<std::pair<std::string, std::string>> values;  // of an enumeration: name and comment
};

/// All fields, in the order in which the formats list them.
const std::vector<FieldDoc>& field_docs();

/// The fields whose path is `name` or ends in it at a dot; also enumerations with a value of that name.
std::vector<const FieldDoc*> field_docs_named(std::string_view name);

/// All names that field_docs_named() would find, without paths: for "did you mean".
std::vector<std::string> field_doc_names();

/// A comment as one line: line ends and the spaces after them become one space each.
std::string one_line(std::string_view comment);

}  // namespace hopbench
