#include "record/result_folder.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <filesystem>
#include <utility>

#include "base/plain_text.h"
#include "record/crc32c.h"
#include "record/new_file.h"

namespace hopbench {
namespace {

constexpr std::string_view head_file = "folder";
constexpr std::string_view head_begins = "hopbench results 1\n";
constexpr std::string_view result_begins = "hbresult";
constexpr std::size_t check_bytes = 4;
constexpr std::size_t longest_file = std::size_t{8} << 20U;
constexpr std::size_t most_parts = 2000;
constexpr std::size_t most_told = 40;  // characters of a value that differs

std::span<const std::uint8_t> as_bytes(std::string_view text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

/// A regular file of at most longest_file bytes. An errno if there is none.
int read_file(const std::string& path, std::string& text) {
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  if (file < 0) return errno;
  struct stat info {};
  int error = ::fstat(file, &info) == 0 ? 0 : errno;
  if (error == 0 && !S_ISREG(info.st_mode)) error = EINVAL;
  std::array<char, 65536> piece{};
  while (error == 0) {
    const ssize_t got = ::read(file, piece.data(), piece.size());
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) error = errno;
    if (got <= 0) break;
    text.append(piece.data(), static_cast<std::size_t>(got));
    if (text.size() > longest_file) error = EFBIG;
  }
  ::close(file);
  return error;
}

std::string written(const std::vector<FolderPart>& parts) {
  std::string text(head_begins);
  for (const FolderPart& part : parts) text += fmt::format("{}: {}\n{}\n", part.name, part.value.size(), part.value);
  return text;
}

std::optional<std::vector<FolderPart>> parts_in(std::string_view text) {
  if (!text.starts_with(head_begins)) return std::nullopt;
  text.remove_prefix(head_begins.size());
  std::vector<FolderPart> parts;
  while (!text.empty()) {
    const std::size_t colon = text.find(": ");
    const std::size_t line_end = text.find('\n');
    if (colon == std::string_view::npos || line_end == std::string_view::npos || colon > line_end) return std::nullopt;
    std::size_t size = 0;
    const char* const end_of_number = text.data() + line_end;
    const auto [end, error] = std::from_chars(text.data() + colon + 2, end_of_number, size);
    if (error != std::errc() || end != end_of_number || parts.size() == most_parts) return std::nullopt;
    const std::string name(text.substr(0, colon));
    text.remove_prefix(line_end + 1);
    if (size >= text.size() || text[size] != '\n') return std::nullopt;
    parts.push_back({name, std::string(text.substr(0, size))});
    text.remove_prefix(size + 1);
  }
  return parts;
}

int write_all(FileOps& ops, int file, std::span<const std::uint8_t> bytes) {
  while (!bytes.empty()) {
    const std::ptrdiff_t count = ops.write(file, bytes);
    if (count == -EINTR) continue;
    if (count < 0) return static_cast<int>(-count);
    bytes = bytes.subspan(static_cast<std::size_t>(count));
  }
  return 0;
}

/// EEXIST if there is something of that name already.
int write_whole(FileOps& ops, const std::string& path, std::span<const std::uint8_t> bytes) {
  // Numbers of processes may meet where several machines use one folder: then the next name is tried.
  constexpr int most_names = 100;
  std::string unfinished;
  int file = -EEXIST;
  for (int i = 0; i < most_names && (file == -EEXIST || file == -EBUSY); ++i) {
    unfinished = fmt::format("{}.new-{}-{}", path, ::getpid(), i);
    file = ops.open_new(unfinished);
  }
  if (file < 0) return -file;
  // Asked for room first: a write beyond what files may have would end the program.
  int error = -ops.reserve(file, 0, bytes.size());
  if (error != ENOSPC && error != EDQUOT && error != EFBIG) error = write_all(ops, file, bytes);
  if (error == 0) error = -ops.sync(file);
  if (error == 0) error = move_to_new(unfinished, path);
  if (error != 0) ops.remove(unfinished);
  ops.close(file);
  return error == 0 ? -ops.sync_directory(path) : error;
}

FolderTrouble unusable(std::string why) { return {false, std::move(why)}; }

constexpr std::string_view not_one = "holds no results of hopbench; name another folder, or one that is not there yet";

}  // namespace

std::string difference_of(const std::vector<FolderPart>& there, const std::vector<FolderPart>& wanted) {
  const auto shown = [](const std::string& value) {
    const bool is_long = value.size() > most_told || value.find('\n') != std::string::npos;
    return is_long ? std::string() : harmless(value);
  };
  for (std::size_t i = 0; i < std::max(there.size(), wanted.size()); ++i) {
    if (i >= there.size()) return fmt::format("it knows nothing of \"{}\"", harmless(wanted[i].name));
    if (i >= wanted.size() || there[i].name != wanted[i].name)
      return fmt::format("it has \"{}\" as well", harmless(there[i].name));
    if (there[i].value == wanted[i].value) continue;
    const std::string one = shown(there[i].value);
    const std::string other = shown(wanted[i].value);
    if (one.empty() || other.empty()) return fmt::format("another {}", harmless(there[i].name));
    return fmt::format("{}: {} there, {} here", harmless(there[i].name), one, other);
  }
  return {};
}

ResultFolder::ResultFolder(FileOps& ops, std::string path, std::vector<FolderPart> made_for)
    : ops_(&ops), path_(std::move(path)), made_for_(std::move(made_for)), head_(written(made_for_)) {}

std::variant<ResultFolder, FolderTrouble> ResultFolder::existing(const std::string& path) {
  std::string text;
  const int error = read_file(path + "/" + std::string(head_file), text);
  if (error == ENOENT || error == ENOTDIR) {
    std::error_code ignored;
    if (!std::filesystem::exists(path, ignored)) return unusable(file_error(ENOENT));
    return unusable(std::string(not_one));
  }
  if (error != 0) return unusable(file_error(error));
  auto parts = parts_in(text);
  if (!parts) return unusable("its file \"folder\" is damaged, or was written by another version");
  return ResultFolder(system_file_ops(), path, *std::move(parts));
}

std::variant<ResultFolder, FolderTrouble> ResultFolder::open(FileOps& ops, const std::string& path,
                                                             const std::vector<FolderPart>& made_for) {
  if (::mkdir(path.c_str(), 0777) != 0 && errno != EEXIST) return unusable(file_error(errno));
  const std::string head = path + "/" + std::string(head_file);
  std::error_code failed;
  if (!std::filesystem::exists(head, failed)) {
    // A killed program may have left its unfinished file.
    for (const auto& entry : std::filesystem::directory_iterator(path, failed)) {
      if (!entry.path().filename().string().starts_with(std::string(head_file) + ".new-"))
        return unusable(std::string(not_one));
    }
    if (failed) return unusable(failed.message());
    const int error = write_whole(ops, head, as_bytes(written(made_for)));
    if (error != 0 && error != EEXIST) return unusable(file_error(error));
  }
  auto there = existing(path);
  if (std::holds_alternative<FolderTrouble>(there)) return there;
  auto& folder = std::get<ResultFolder>(there);
  if (auto why = difference_of(folder.made_for_, made_for); !why.empty())
    return FolderTrouble{true, "was made by another sweep: " + why};
  folder.ops_ = &ops;
  return there;
}

std::string ResultFolder::file_of(std::size_t index) const { return fmt::format("{}/run-{:06}", path_, index); }

std::uint32_t ResultFolder::check_of(std::size_t index, std::span<const std::uint8_t> result) const {
  return Crc32c().feed(as_bytes(head_)).feed(as_bytes(fmt::format("\n{}\n", index))).feed(result).value();
}

std::optional<std::vector<std::uint8_t>> ResultFolder::get(std::size_t index, bool& damaged) const {
  std::string text;
  const int error = read_file(file_of(index), text);
  damaged = error != 0 && error != ENOENT;
  if (error != 0) return std::nullopt;
  damaged = true;
  if (!std::string_view(text).starts_with(result_begins) || text.size() < result_begins.size() + check_bytes)
    return std::nullopt;
  const auto bytes = as_bytes(text).subspan(result_begins.size());
  std::uint32_t check = 0;
  for (std::size_t i = 0; i < check_bytes; ++i) check |= std::uint32_t{bytes[i]} << (8 * i);
  const auto result = bytes.subspan(check_bytes);
  if (check != check_of(index, result)) return std::nullopt;
  damaged = false;
  return std::vector<std::uint8_t>(result.begin(), result.end());
}

int ResultFolder::put(std::size_t index, std::span<const std::uint8_t> result) const {
  std::vector<std::uint8_t> bytes(result_begins.begin(), result_begins.end());
  const std::uint32_t check = check_of(index, result);
  for (std::size_t i = 0; i < check_bytes; ++i) bytes.push_back(static_cast<std::uint8_t>(check >> (8 * i)));
  bytes.insert(bytes.end(), result.begin(), result.end());
  bool damaged = false;
  if (get(index, damaged)) return 0;
  if (damaged) ops_->remove(file_of(index));
  const int error = write_whole(*ops_, file_of(index), bytes);
  return error == EEXIST ? 0 : error;
}

}  // namespace hopbench
