#include "port/pty.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <climits>
#include <cstring>
#include <optional>
#include <string_view>

#include "port/line_speed.h"

namespace hopbench {
namespace {

constexpr std::size_t read_at_once = 4096;
constexpr std::string_view pty_folder = "/dev/pts/";

PortError error_of(std::string_view doing) { return {fmt::format("{}: {}", doing, std::strerror(errno))}; }

bool make_raw(int fd) {
  termios settings{};
  if (tcgetattr(fd, &settings) != 0) return false;
  cfmakeraw(&settings);
  settings.c_cflag |= CREAD | CLOCAL;
  settings.c_cc[VMIN] = 1;
  settings.c_cc[VTIME] = 0;
  return tcsetattr(fd, TCSANOW, &settings) == 0;
}

std::optional<std::string> target_of(const std::string& link) {
  std::array<char, PATH_MAX> target{};
  const ssize_t size = readlink(link.c_str(), target.data(), target.size());
  if (size < 0) return std::nullopt;
  return std::string(target.data(), static_cast<std::size_t>(size));
}

/// Clears the way for `link`, or says why it must not be touched.
std::optional<PortError> make_way(const std::string& link, const std::string& client_path) {
  struct stat status {};
  if (lstat(link.c_str(), &status) != 0) {
    if (errno == ENOENT) return std::nullopt;
    return error_of(link);
  }
  const auto target = S_ISLNK(status.st_mode) ? target_of(link) : std::nullopt;
  if (!target || !target->starts_with(pty_folder)) {
    return PortError{fmt::format("{}: exists and is no link of an earlier run; give a path that is free", link)};
  }
  // Numbers of ptys are used again at once: a stale link may lead to the one just made.
  if (*target != client_path && access(target->c_str(), F_OK) == 0) {
    return PortError{fmt::format("{}: leads to {}, which is in use; remove the link if no bench is running behind it",
                                 link, *target)};
  }
  if (unlink(link.c_str()) != 0 && errno != ENOENT) return error_of(link);
  return std::nullopt;
}

}  // namespace

std::variant<std::unique_ptr<PtyPort>, PortError> PtyPort::open(const std::string& link, const LineCoding& line) {
  auto port = std::unique_ptr<PtyPort>(new PtyPort);
  port->line_ = line;
  // O_CLOEXEC and O_NONBLOCK from the start; posix_openpt() hands flags to open(2).
  port->master_ = FileDescriptor(posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
  if (!port->master_.valid()) return error_of("cannot make a pty");
  std::array<char, PATH_MAX> name{};
  const int master = port->master_.get();
  if (grantpt(master) != 0 || unlockpt(master) != 0 || ptsname_r(master, name.data(), name.size()) != 0) {
    return error_of("cannot make a pty");
  }
  port->client_path_ = name.data();
  port->client_ = FileDescriptor(::open(name.data(), O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
  if (!port->client_.valid()) return error_of(port->client_path_);
  if (!make_raw(port->client_.get()) || !set_line_speed(port->client_.get(), line.baud)) {
    return error_of(port->client_path_);
  }
  if (auto error = make_way(link, port->client_path_)) return *error;
  if (symlink(port->client_path_.c_str(), link.c_str()) != 0) return error_of(link);
  port->link_ = link;
  return port;
}

PtyPort::~PtyPort() {
  if (!link_.empty() && target_of(link_) == client_path_) unlink(link_.c_str());
}

bool PtyPort::read(Intake& intake) {
  std::array<std::uint8_t, read_at_once> buffer;
  const ssize_t size = ::read(master_.get(), buffer.data(), buffer.size());
  if (size < 0) return errno == EAGAIN || errno == EINTR;
  if (size == 0) return false;
  intake.bytes.insert(intake.bytes.end(), buffer.begin(), buffer.begin() + size);
  return true;
}

bool PtyPort::drop_oldest(std::size_t bytes) {
  std::array<std::uint8_t, read_at_once> buffer;
  const ssize_t size = ::read(client_.get(), buffer.data(), std::min(bytes, buffer.size()));
  if (size <= 0) return false;
  dropped_ += static_cast<std::uint64_t>(size);
  return true;
}

std::ptrdiff_t PtyPort::write(std::span<const std::uint8_t> bytes) {
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t size = ::write(master_.get(), bytes.data() + done, bytes.size() - done);
    if (size > 0) {
      done += static_cast<std::size_t>(size);
    } else if (size < 0 && errno == EINTR) {
      continue;
    } else if (size == 0 || errno == EAGAIN) {
      // The kernel gives room back in whole buffers, so it may take more than these bytes' worth. If there is
      // nothing to drop, somebody has just read: the rest goes later.
      if (!drop_oldest(read_at_once)) break;
    } else {
      return -1;
    }
  }
  return static_cast<std::ptrdiff_t>(done);
}

std::string PtyPort::take_note() {
  if (noted_) return {};
  const auto asked = line_speed(master_.get());
  if (!asked || *asked == line_.baud) return {};
  noted_ = true;
  return fmt::format(
      "the program at the port has set {} Bd, but the bus runs at {} Bd; a real line would garble every frame (a pty "
      "does not)",
      *asked, line_.baud);
}

}  // namespace hopbench
