// Messages as text: a whole scenario, and one value as it can be set by a path.
#pragma once

#include <google/protobuf/message.h>

#include <optional>
#include <string>
#include <string_view>

#include "scenario.pb.h"
#include "text/scenario.h"

namespace hopbench {

/// The message of a scenario that was loaded. Throws std::logic_error if its text cannot be read again.
text::Scenario parsed(const Scenario& loaded);

/// The scenario in the bench's canonical order, that of proto/scenario.proto; load_scenario() takes it.
std::string printed(const text::Scenario& scenario);

/// Element `index` of a field, or with -1 the field as a whole, as set_value() takes it: numbers and words as they
/// stand in a file, text without quotes where it can be, lists in [ ], fields in { }.
std::string printed_value(const google::protobuf::Message& owner, const google::protobuf::FieldDescriptor& field,
                          int index);

/// By what an element of a repeated message is known: its name, or the node or field that it is about; empty if it has
/// none.
std::string name_of_element(const google::protobuf::Message& element);

/// The path of what stands at a line and column (from 1) of `text`, which was printed() from `scenario`; empty for the
/// scenario as a whole.
std::string path_at(const text::Scenario& scenario, const std::string& text, int line, int column);

}  // namespace hopbench
