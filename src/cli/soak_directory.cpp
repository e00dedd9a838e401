#include "cli/soak_directory.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cstring>
#include <filesystem>
#include <string_view>
#include <system_error>
#include <utility>

#include "cli/say.h"
#include "record/new_file.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;

/// Locked for as long as it is open; minus an errno.
int lock_of(const std::string& path) {
  const int file = ::open((path + "/lock").c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0644);
  if (file < 0) return -errno;
  if (::flock(file, LOCK_EX | LOCK_NB) == 0) return file;
  const int error = errno == EWOULDBLOCK ? EBUSY : errno;
  ::close(file);
  return -error;
}

std::span<const std::uint8_t> bytes_of(const std::string& text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

/// Of the capture that a file of this name is a part of: detail-000007.hbcap, or detail-000007.0001.hbcap if it goes on
/// in further files. None if it is no detail file.
std::optional<std::uint32_t> number_of(std::string_view name) {
  constexpr std::string_view begin = "detail-";
  constexpr std::string_view end = ".hbcap";
  if (!name.starts_with(begin) || !name.ends_with(end) || name.size() < begin.size() + end.size()) return std::nullopt;
  name.remove_prefix(begin.size());
  name.remove_suffix(end.size());
  std::uint32_t number = 0;
  const char* const last = name.data() + name.size();
  const auto read = std::from_chars(name.data(), last, number);
  if (read.ec != std::errc() || number == 0) return std::nullopt;
  if (read.ptr == last) return number;
  std::uint32_t further = 0;
  const bool good =
      *read.ptr == '.' && std::from_chars(read.ptr + 1, last, further).ptr == last && read.ptr + 1 != last;
  return good ? std::optional(number) : std::nullopt;
}

/// No state of ours is larger.
constexpr std::size_t most_bytes = std::size_t{32} << 20U;

bool read_whole(const std::string& path, std::vector<std::uint8_t>& bytes, std::string& why) {
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
  if (file < 0) {
    why = std::strerror(errno);
    return false;
  }
  struct stat info {};
  if (::fstat(file, &info) != 0 || !S_ISREG(info.st_mode)) {
    why = "is no regular file";
  } else if (info.st_size > static_cast<off_t>(most_bytes)) {
    why = "is larger than any state";
  } else {
    bytes.resize(static_cast<std::size_t>(info.st_size));
    std::size_t got = 0;
    while (got < bytes.size()) {
      const ssize_t size = ::read(file, bytes.data() + got, bytes.size() - got);
      if (size < 0 && errno == EINTR) continue;
      if (size <= 0) break;
      got += static_cast<std::size_t>(size);
    }
    bytes.resize(got);
  }
  ::close(file);
  return why.empty();
}

}  // namespace

std::optional<SoakDirectory> SoakDirectory::make(const std::string& path, const Scenario& scenario) {
  std::error_code error;
  fs::create_directories(path, error);
  // So that the folder itself is there after a power cut.
  if (!error) error = {sync_directory_of(fs::path(path).lexically_normal().string()), std::generic_category()};
  if (error) {
    say_line("hopbench: {}: {}\n", path, error.message());
    return std::nullopt;
  }
  if (!fs::is_empty(path, error) || error) {
    say_line("hopbench: {}: there is something in it already; name another folder, or go on with --resume {}\n", path,
             path);
    return std::nullopt;
  }
  const int lock = lock_of(path);
  if (lock < 0) {
    say_line("hopbench: {}/lock: {}\n", path, file_error(-lock));
    return std::nullopt;
  }
  SoakDirectory made(path, lock);
  int failed = replace_durably(path + "/scenario.txtpb", bytes_of(scenario.scenario_text));
  if (failed == 0 && !scenario.bus_text.empty()) {
    failed = replace_durably(path + "/bus.txtpb", bytes_of(scenario.bus_text));
  }
  if (failed == 0) return made;
  say_line("hopbench: {}: {}\n", path, file_error(failed));
  return std::nullopt;
}

std::optional<SoakDirectory> SoakDirectory::open(const std::string& path) {
  std::error_code error;
  if (!fs::exists(path + "/scenario.txtpb", error)) {
    say_line("hopbench: {}: no soak was begun there: it has no scenario.txtpb\n", path);
    return std::nullopt;
  }
  const int lock = lock_of(path);
  if (lock >= 0) return SoakDirectory(path, lock);
  if (lock == -EBUSY) {
    say_line("hopbench: {}: another hopbench is at work on this soak\n", path);
  } else {
    say_line("hopbench: {}/lock: {}\n", path, file_error(-lock));
  }
  return std::nullopt;
}

SoakDirectory::SoakDirectory(SoakDirectory&& other) noexcept
    : path_(std::move(other.path_)), lock_(std::exchange(other.lock_, -1)) {}

SoakDirectory::~SoakDirectory() {
  if (lock_ >= 0) ::close(lock_);
}

std::optional<Scenario> SoakDirectory::scenario() const {
  std::string why;
  const std::string name = path_ + "/scenario.txtpb";
  const auto file = read_text_file(name, why);
  if (!file) {
    say_line("hopbench: {}: {}\n", name, why);
    return std::nullopt;
  }
  std::error_code error;
  std::vector<Problem> problems;
  std::optional<Scenario> scenario;
  if (fs::exists(path_ + "/bus.txtpb", error)) {
    const auto bus = read_text_file(path_ + "/bus.txtpb", why);
    if (!bus) {
      say_line("hopbench: {}/bus.txtpb: {}\n", path_, why);
      return std::nullopt;
    }
    scenario = load_scenario(*file, stored_bus(bus->text), problems);
  } else {
    scenario = load_scenario(*file, buses_beside(name), problems);
  }
  if (!scenario) {
    for (const auto& problem : problems) fmt::print(stderr, "{}", render(problem, *file));
  }
  return scenario;
}

std::vector<std::uint8_t> SoakDirectory::state(std::string& why) const {
  std::vector<std::uint8_t> bytes;
  why.clear();
  if (!read_whole(path_ + "/state", bytes, why)) return {};
  return bytes;
}

int SoakDirectory::save(std::span<const std::uint8_t> state) const { return replace_durably(path_ + "/state", state); }

int SoakDirectory::save_verdict(const std::string& text, const std::string& json) const {
  const int error = replace_durably(path_ + "/verdict.txt", bytes_of(text));
  return error != 0 ? error : replace_durably(path_ + "/verdict.json", bytes_of(json));
}

std::string SoakDirectory::detail(std::uint32_t number) const {
  return fmt::format("{}/detail-{:06}.hbcap", path_, number);
}

std::map<std::uint32_t, std::uint64_t> SoakDirectory::details() const {
  std::map<std::uint32_t, std::uint64_t> all;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(path_, error)) {
    const auto number = number_of(entry.path().filename().string());
    if (!number) continue;
    std::error_code gone;
    const auto bytes = entry.file_size(gone);
    if (!gone) all[*number] += bytes;
  }
  return all;
}

void SoakDirectory::remove_detail(std::uint32_t number) const {
  std::vector<fs::path> files;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(path_, error)) {
    if (number_of(entry.path().filename().string()) == number) files.push_back(entry.path());
  }
  for (const auto& file : files) fs::remove(file, error);
}

void SoakDirectory::discard() const {
  std::error_code error;
  for (const char* name : {"scenario.txtpb", "bus.txtpb", "lock"}) fs::remove(fs::path(path_) / name, error);
  fs::remove(path_, error);
}

}  // namespace hopbench
