// A value given as text into a field of a message, by the same rules as in a file. Inner part of src/text.
#pragma once

#include <google/protobuf/message.h>

#include <string>
#include <string_view>

namespace hopbench {

/// Which element of a repeated field.
inline constexpr int whole_field = -1;  // of one that does not repeat: its value
inline constexpr int one_more = -2;     // behind the last

/// Sets the value. What would stand behind the colon in a file is right here too; text needs no quotes. Throws
/// WrongEdit with what is wrong and what would be right; then nothing has changed.
void set_value(google::protobuf::Message& owner, const google::protobuf::FieldDescriptor& field, int index,
               std::string_view value);

}  // namespace hopbench
