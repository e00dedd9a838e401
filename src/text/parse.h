// From text to a Protobuf message with the place of everything in it.
#pragma once

#include <google/protobuf/message.h>

#include "text/outline.h"

namespace hopbench {

/// Fills `message` from the text and returns its outline. What is wrong is told to the reporter; then the message means
/// nothing.
Outline parse_text(const TextFile& file, google::protobuf::Message& message, Reporter& reporter);

/// What a text file describes.
enum class TextKind : std::uint8_t { scenario, bus };

/// Told by a line "# proto-message: hopbench.text.Scenario" (or Bus) among the comments at the head of the file;
/// without one by which format's field names stand at the top level; a scenario if that says nothing.
TextKind kind_of(const TextFile& file);

}  // namespace hopbench
