#include "view/notes.h"

#include <fmt/format.h>

#include <charconv>
#include <sstream>

#include "view/number_text.h"

namespace hopbench {

std::string notes_path(const std::string& capture) { return capture + ".notes"; }

std::string note_line(const Note& note) { return fmt::format("{}\t{}\n", note.at, harmless(note.text)); }

std::vector<Note> read_notes(const std::string& text) {
  std::vector<Note> notes;
  std::istringstream lines(text);
  for (std::string line; notes.size() < 100'000 && std::getline(lines, line);) {
    Note note;
    const auto [end, error] = std::from_chars(line.data(), line.data() + line.size(), note.at);
    if (error != std::errc() || end == line.data() + line.size() || *end != '\t') continue;
    note.text = line.substr(static_cast<std::size_t>(end - line.data()) + 1);
    notes.push_back(std::move(note));
  }
  return notes;
}

}  // namespace hopbench
