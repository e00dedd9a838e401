// Spots of a capture that were marked by whoever looked at it, kept in a file beside it.
#pragma once

#include <string>
#include <vector>

#include "base/time.h"

namespace hopbench {

struct Note {
  Nanos at = 0;
  std::string text;
};

/// "CAPTURE.notes": a line for each, nanoseconds and text with a tab between.
std::string notes_path(const std::string& capture);
std::string note_line(const Note& note);
/// Lines that are none are passed over.
std::vector<Note> read_notes(const std::string& text);

}  // namespace hopbench
