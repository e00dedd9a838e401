// What is wrong with a text file, and where: one plain line each, with the source line and a caret under the place.
// An error keeps the file from being used; a warning does not.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace hopbench {

struct TextFile {
  std::string name;  // as the user knows it; shown in problems
  std::string text;
};

enum class Severity : std::uint8_t {
  error,    // the file cannot be used
  warning,  // it can; but part of what it says will not come about, and somebody may want exactly that
};

/// One thing wrong in a file. Line and column begin at 1; the column counts characters (a tab and a UTF-8 sequence are
/// one each). Line 0: the file as a whole.
struct Problem {
  std::string file;
  int line = 0;
  int column = 0;
  std::string what;         // what is wrong and what would be right, one line, no full stop
  std::string source_line;  // the line it is in, without its end; empty for line 0 and for endless lines
  Severity severity = Severity::error;
};

/// Whether any of them is more than a warning.
bool has_errors(std::span<const Problem> problems);

/// Largest file that is read.
inline constexpr std::size_t max_text_bytes = std::size_t{1} << 20U;
/// Most errors, and most warnings, that are told of one file; beyond that a last one says that there are more.
inline constexpr std::size_t max_problems = 100;

/// Reads a whole file, without a byte order mark; none if it cannot be read or is larger than max_text_bytes, and then
/// `why` says so in one line without the file's name.
std::optional<TextFile> read_text_file(const std::string& path, std::string& why);

/// "file:line:column: what", with "warning: " before the what if it is one; then the source line and a line with a
/// caret. Ends with a line end. Control characters of the source are shown as spaces, and a long line is cut around the
/// place.
std::string render(const Problem& problem);
/// The same; the source line is looked up in `file` if the problem is in that file and does not carry it.
std::string render(const Problem& problem, const TextFile& file);

/// Line number `line` (from 1) of a text, without its end.
std::string_view line_of(std::string_view text, int line);

}  // namespace hopbench
