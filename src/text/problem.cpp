#include "text/problem.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <memory>
#include <system_error>

#include "base/plain_text.h"

namespace hopbench {
namespace {

constexpr std::size_t most_shown = 100;  // characters of a source line
constexpr std::size_t most_before = 60;  // of them before the place

/// The line as characters (byte strings of one code point each), fit for a terminal.
std::vector<std::string> characters_of(std::string_view line) {
  std::vector<std::string> characters;
  while (!line.empty()) {
    const auto point = first_code_point(line);
    const auto bytes = line.substr(0, point.bytes);
    characters.push_back(bytes == "\t" ? "\t" : harmless(bytes));
    line.remove_prefix(point.bytes);
  }
  return characters;
}

}  // namespace

std::optional<TextFile> read_text_file(const std::string& path, std::string& why) {
  // Not blocking: opening a pipe that nobody writes to would wait for ever, and so would reading a terminal.
  const int opened = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  struct stat info {};
  if (opened >= 0 && (::fstat(opened, &info) != 0 || (!S_ISREG(info.st_mode) && !S_ISDIR(info.st_mode)))) {
    ::close(opened);
    why = "is no regular file";
    return std::nullopt;
  }
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> file{opened < 0 ? nullptr : ::fdopen(opened, "rb"),
                                                             &std::fclose};
  if (!file) {
    why = fmt::format("cannot be read: {}", std::generic_category().message(errno));
    return std::nullopt;
  }
  TextFile result{path, std::string(max_text_bytes + 1, '\0')};
  errno = 0;
  result.text.resize(std::fread(result.text.data(), 1, result.text.size(), file.get()));
  if (std::ferror(file.get()) != 0) {
    why = fmt::format("cannot be read: {}", std::generic_category().message(errno));
    return std::nullopt;
  }
  if (result.text.size() > max_text_bytes) {
    why = "is larger than 1 MiB, too large for a scenario or a bus description";
    return std::nullopt;
  }
  // A byte order mark that some editors write says nothing here, and the tokenizer does not know it.
  if (result.text.compare(0, 3, "\xef\xbb\xbf") == 0) result.text.erase(0, 3);
  return result;
}

std::string_view line_of(std::string_view text, int line) {
  for (int n = 1; n < line; ++n) {
    const std::size_t end = text.find('\n');
    if (end == std::string_view::npos) return {};
    text.remove_prefix(end + 1);
  }
  text = text.substr(0, text.find('\n'));
  if (!text.empty() && text.back() == '\r') text.remove_suffix(1);
  return text;
}

bool has_errors(std::span<const Problem> problems) {
  return std::any_of(problems.begin(), problems.end(),
                     [](const Problem& problem) { return problem.severity == Severity::error; });
}

std::string render(const Problem& problem) {
  const std::string_view kind = problem.severity == Severity::warning ? "warning: " : "";
  const std::string file = harmless(problem.file);
  const std::string what = harmless(problem.what);
  if (problem.line <= 0) return fmt::format("{}: {}{}\n", file, kind, what);
  std::string text = fmt::format("{}:{}:{}: {}{}\n", file, problem.line, problem.column, kind, what);
  if (problem.source_line.empty()) return text;

  const std::vector<std::string> characters = characters_of(problem.source_line);
  const auto place = static_cast<std::size_t>(std::max(problem.column - 1, 0));
  const std::size_t from = place > most_before && characters.size() > most_shown ? place - most_before : 0;
  const std::size_t to = std::min(characters.size(), from + most_shown);
  std::string shown = from > 0 ? "  ..." : "  ";
  std::string caret(shown.size(), ' ');
  for (std::size_t i = from; i < to; ++i) shown += characters[i];
  // Tabs are copied, so that the caret stands right whatever the terminal makes of them.
  for (std::size_t i = from; i < place; ++i) caret += i < characters.size() && characters[i] == "\t" ? '\t' : ' ';
  if (to < characters.size()) shown += "...";
  return text + shown + "\n" + caret + "^\n";
}

std::string render(const Problem& problem, const TextFile& file) {
  if (!problem.source_line.empty() || problem.file != file.name || problem.line <= 0) return render(problem);
  Problem with_line = problem;
  with_line.source_line = line_of(file.text, problem.line);
  return render(with_line);
}

}  // namespace hopbench
