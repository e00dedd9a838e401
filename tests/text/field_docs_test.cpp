// Every field of the text formats says what it means, and the walk over texts knows every type that they use.
#include "text/field_docs.h"

#include <google/protobuf/descriptor.h>

#include <set>

#include "scenario.pb.h"
#include "support/catch.h"

using namespace hopbench;
namespace pb = google::protobuf;

namespace {

void gather(const pb::Descriptor& message, std::set<const pb::Descriptor*>& messages) {
  if (!messages.insert(&message).second) return;
  for (int i = 0; i < message.field_count(); ++i) {
    if (message.field(i)->message_type() != nullptr) gather(*message.field(i)->message_type(), messages);
  }
}

std::set<const pb::Descriptor*> all_messages() {
  std::set<const pb::Descriptor*> messages;
  gather(*text::Scenario::descriptor(), messages);
  return messages;
}

}  // namespace

TEST_CASE("every field and every value has a comment fit to be shown") {
  REQUIRE(field_docs().size() > 150);
  for (const FieldDoc& doc : field_docs()) {
    INFO(doc.paths.front());
    CHECK(doc.comment.size() > 10);
    CHECK(doc.comment.back() == '.');
    for (const auto& [name, comment] : doc.values) {
      INFO(name);
      CHECK(comment.size() > 4);
      CHECK(comment.back() == '.');
    }
  }
}

TEST_CASE("no field is left out of the list") {
  std::size_t fields = 0;
  for (const pb::Descriptor* message : all_messages()) fields += static_cast<std::size_t>(message->field_count());
  CHECK(field_docs().size() == fields);
}

TEST_CASE("a duration that can be left out says what then holds") {
  for (const FieldDoc& doc : field_docs()) {
    if (doc.comment.find("Duration") == std::string::npos) continue;
    INFO(doc.paths.front());
    const bool says =
        doc.comment.find("efault") != std::string::npos || doc.comment.find("Needed") != std::string::npos;
    CHECK(says);
  }
}

TEST_CASE("the formats use only types that the walk over a text knows") {
  for (const pb::Descriptor* message : all_messages()) {
    for (int i = 0; i < message->field_count(); ++i) {
      const pb::FieldDescriptor& field = *message->field(i);
      INFO(field.full_name());
      using F = pb::FieldDescriptor;
      const std::set<F::CppType> known = {F::CPPTYPE_STRING, F::CPPTYPE_BOOL,  F::CPPTYPE_ENUM,  F::CPPTYPE_UINT32,
                                          F::CPPTYPE_UINT64, F::CPPTYPE_INT32, F::CPPTYPE_INT64, F::CPPTYPE_MESSAGE};
      CHECK(known.count(field.cpp_type()) == 1);
      CHECK_FALSE(field.is_map());
    }
    CHECK(message->reserved_name_count() == 0);
  }
}

TEST_CASE("fields are found by name, by path and by value") {
  const auto paths = [](std::string_view name) {
    std::vector<std::string> found;
    for (const FieldDoc* doc : field_docs_named(name)) found.push_back(doc->paths.front());
    return found;
  };
  using Paths = std::vector<std::string>;
  CHECK(paths("time_out") == Paths{"scenario.controller.time_out"});
  CHECK(paths("controller.retries") == Paths{"scenario.controller.retries"});
  CHECK(paths("scenario.controller.retries") == Paths{"scenario.controller.retries"});
  CHECK(paths("kind") == Paths{"scenario.kind", "scenario.nodes.kind", "bus.framing.kind", "bus.part.check.kind"});
  CHECK(paths("BY_DIFFERENCE") == Paths{"bus.forward.repair"});
  CHECK(paths("ime_out").empty());
  CHECK(paths("").empty());
}

TEST_CASE("comments become one line") {
  CHECK(one_line(" one\n two  three \n") == "one two three");
  CHECK(one_line("").empty());
}
