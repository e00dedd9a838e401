#include "text/field_docs.h"

#include <google/protobuf/descriptor.h>
#include <google/protobuf/descriptor.pb.h>

#include <algorithm>
#include <map>
#include <set>

#include "embedded.h"

namespace hopbench {
namespace {

namespace pb = google::protobuf;

/// The formats with their comments. Compiled-in descriptors have none, so this is a pool of its own.
const pb::DescriptorPool& pool() {
  static const auto* const filled = [] {
    auto* result = new pb::DescriptorPool;  // lives as long as the program, as descriptors point into it
    for (const EmbeddedFile& file : embedded_files()) {
      if (file.name != "descriptors.bin") continue;
      pb::FileDescriptorSet set;
      set.ParseFromArray(file.bytes.data(), static_cast<int>(file.bytes.size()));
      for (const pb::FileDescriptorProto& proto : set.file()) result->BuildFile(proto);
    }
    return result;
  }();
  return *filled;
}

template <class Descriptor>
std::string comment_of(const Descriptor& descriptor) {
  pb::SourceLocation location;
  if (!descriptor.GetSourceLocation(&location)) return "";
  return one_line(location.leading_comments.empty() ? location.trailing_comments : location.leading_comments);
}

std::string type_of(const pb::FieldDescriptor& field) {
  switch (field.cpp_type()) {
    case pb::FieldDescriptor::CPPTYPE_MESSAGE:
      return "fields in braces";
    case pb::FieldDescriptor::CPPTYPE_ENUM:
      return "one of the values below";
    case pb::FieldDescriptor::CPPTYPE_BOOL:
      return "true or false";
    case pb::FieldDescriptor::CPPTYPE_STRING:
      return field.type() == pb::FieldDescriptor::TYPE_BYTES ? "bytes in quotes" : "text in quotes";
    case pb::FieldDescriptor::CPPTYPE_INT32:
    case pb::FieldDescriptor::CPPTYPE_INT64:
      return "whole number, may be negative";
    default:
      return "whole number";
  }
}

/// Gathers fields and the paths by which they can be reached.
class Collector {
 public:
  void walk(const pb::Descriptor& message, const std::string& path) {
    for (int i = 0; i < message.field_count(); ++i) {
      const pb::FieldDescriptor& field = *message.field(i);
      const std::string here = path + "." + field.name();
      doc_of(field).paths.push_back(here);
      if (field.cpp_type() != pb::FieldDescriptor::CPPTYPE_MESSAGE) continue;
      // A bus that stands in a scenario has the fields of a bus description; they are listed there.
      if (field.message_type()->name() != "Bus") walk(*field.message_type(), here);
    }
  }

  std::vector<FieldDoc> take() { return std::move(docs_); }

 private:
  std::vector<FieldDoc> docs_;
  std::map<const pb::FieldDescriptor*, std::size_t> known_;

  FieldDoc& doc_of(const pb::FieldDescriptor& field) {
    const auto [found, first] = known_.try_emplace(&field, docs_.size());
    if (!first) return docs_[found->second];
    FieldDoc doc;
    doc.type = type_of(field);
    doc.repeated = field.is_repeated();
    doc.comment = comment_of(field);
    if (const auto* type = field.enum_type()) {
      for (int i = 0; i < type->value_count(); ++i)
        doc.values.emplace_back(type->value(i)->name(), comment_of(*type->value(i)));
    }
    docs_.push_back(std::move(doc));
    return docs_.back();
  }
};

bool ends_in(std::string_view path, std::string_view name) {
  return path == name ||
         (path.size() > name.size() && path.ends_with(name) && path[path.size() - name.size() - 1] == '.');
}

}  // namespace

std::string one_line(std::string_view comment) {
  std::string line;
  for (const char c : comment) {
    const bool space = c == '\n' || c == ' ' || c == '\t';
    if (!space) line += c;
    if (space && !line.empty() && line.back() != ' ') line += ' ';
  }
  while (!line.empty() && line.back() == ' ') line.pop_back();
  return line;
}

const std::vector<FieldDoc>& field_docs() {
  static const std::vector<FieldDoc> docs = [] {
    Collector collector;
    if (const auto* scenario = pool().FindMessageTypeByName("hopbench.text.Scenario"))
      collector.walk(*scenario, "scenario");
    if (const auto* bus = pool().FindMessageTypeByName("hopbench.text.Bus")) collector.walk(*bus, "bus");
    return collector.take();
  }();
  return docs;
}

std::vector<const FieldDoc*> field_docs_named(std::string_view name) {
  std::vector<const FieldDoc*> found;
  if (name.empty()) return found;
  for (const FieldDoc& doc : field_docs()) {
    const bool by_path =
        std::any_of(doc.paths.begin(), doc.paths.end(), [&](const auto& path) { return ends_in(path, name); });
    const bool by_value =
        std::any_of(doc.values.begin(), doc.values.end(), [&](const auto& value) { return value.first == name; });
    if (by_path || by_value) found.push_back(&doc);
  }
  return found;
}

std::vector<std::string> field_doc_names() {
  std::set<std::string> names;
  for (const FieldDoc& doc : field_docs()) {
    names.insert(doc.paths.front().substr(doc.paths.front().rfind('.') + 1));
    for (const auto& value : doc.values) names.insert(value.first);
  }
  return {names.begin(), names.end()};
}

}  // namespace hopbench
