#include "port/unix_listener.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <optional>

namespace hopbench {
namespace {

constexpr int most_waiting = 4;
constexpr mode_t owner_only = 0600;

PortError error_of(const std::string& path) { return {fmt::format("{}: {}", path, std::strerror(errno))}; }

FileDescriptor new_socket() { return FileDescriptor(socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0)); }

std::optional<sockaddr_un> address_of(const std::string& path) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  if (path.size() >= sizeof address.sun_path) return std::nullopt;
  std::copy(path.begin(), path.end(), address.sun_path);
  return address;
}

const sockaddr* as_any(const sockaddr_un& address) { return reinterpret_cast<const sockaddr*>(&address); }

/// Clears the way for a socket at `path`, or says why what is there must not be touched.
std::optional<PortError> make_way(const std::string& path, const sockaddr_un& address) {
  struct stat status {};
  if (lstat(path.c_str(), &status) != 0) {
    if (errno == ENOENT) return std::nullopt;
    return error_of(path);
  }
  if (!S_ISSOCK(status.st_mode)) {
    return PortError{fmt::format("{}: exists and is no socket of an earlier run; give a path that is free", path)};
  }
  const FileDescriptor probe = new_socket();
  if (!probe.valid()) return error_of(path);
  // Nobody listens behind a socket file that a dead program has left.
  if (connect(probe.get(), as_any(address), sizeof address) == 0 || errno != ECONNREFUSED) {
    return PortError{fmt::format("{}: in use by another program; give a path that is free", path)};
  }
  if (unlink(path.c_str()) != 0 && errno != ENOENT) return error_of(path);
  return std::nullopt;
}

}  // namespace

std::variant<std::unique_ptr<UnixListener>, PortError> UnixListener::open(const std::string& path) {
  const auto address = address_of(path);
  if (!address) {
    return PortError{
        fmt::format("{}: too long for a socket; at most {} characters, for example a path relative to here", path,
                    sizeof address->sun_path - 1)};
  }
  auto made = std::unique_ptr<UnixListener>(new UnixListener);
  made->listener_ = new_socket();
  // The permissions are those of the socket when it gets its name, so that it has no others at any time.
  const int listener = made->listener_.get();
  if (listener < 0 || fchmod(listener, owner_only) != 0) return error_of(path);
  // Two benches that start at once must not take each other's file for a dead one's.
  const std::string folder = std::filesystem::path(path).parent_path().string();
  const FileDescriptor turn(::open(folder.empty() ? "." : folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (!turn.valid() || flock(turn.get(), LOCK_EX) != 0) return error_of(path);
  if (auto error = make_way(path, *address)) return *error;
  if (bind(listener, as_any(*address), sizeof *address) != 0) return error_of(path);
  struct stat status {};
  if (listen(listener, most_waiting) != 0 || lstat(path.c_str(), &status) != 0) return error_of(path);
  made->path_ = path;
  made->device_ = status.st_dev;
  made->inode_ = status.st_ino;
  return made;
}

UnixListener::~UnixListener() {
  struct stat status {};
  if (path_.empty() || lstat(path_.c_str(), &status) != 0) return;
  if (status.st_dev == device_ && status.st_ino == inode_) unlink(path_.c_str());
}

FileDescriptor UnixListener::take(bool blocks) {
  return FileDescriptor(accept4(listener_.get(), nullptr, nullptr, (blocks ? 0 : SOCK_NONBLOCK) | SOCK_CLOEXEC));
}

}  // namespace hopbench
