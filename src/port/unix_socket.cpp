#include "port/unix_socket.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <sys/file.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <optional>

namespace hopbench {
namespace {

constexpr std::size_t read_at_once = 4096;
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

std::variant<std::unique_ptr<SocketPort>, PortError> SocketPort::open(const std::string& path) {
  const auto address = address_of(path);
  if (!address) {
    return PortError{
        fmt::format("{}: too long for a socket; at most {} characters, for example a path relative to here", path,
                    sizeof address->sun_path - 1)};
  }
  auto port = std::unique_ptr<SocketPort>(new SocketPort);
  port->listener_ = new_socket();
  // The permissions are those of the socket when it gets its name, so that it has no others at any time.
  const int listener = port->listener_.get();
  if (listener < 0 || !port->waits_.valid() || fchmod(listener, owner_only) != 0) return error_of(path);
  // Two benches that start at once must not take each other's file for a dead one's.
  const std::string folder = std::filesystem::path(path).parent_path().string();
  const FileDescriptor turn(::open(folder.empty() ? "." : folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (!turn.valid() || flock(turn.get(), LOCK_EX) != 0) return error_of(path);
  if (auto error = make_way(path, *address)) return *error;
  if (bind(listener, as_any(*address), sizeof *address) != 0) return error_of(path);
  struct stat status {};
  if (listen(listener, most_waiting) != 0 || lstat(path.c_str(), &status) != 0) return error_of(path);
  port->path_ = path;
  port->device_ = status.st_dev;
  port->inode_ = status.st_ino;
  port->waits_.watch(listener, true, false);
  return port;
}

SocketPort::~SocketPort() {
  struct stat status {};
  if (path_.empty() || lstat(path_.c_str(), &status) != 0) return;
  if (status.st_dev == device_ && status.st_ino == inode_) unlink(path_.c_str());
}

void SocketPort::watch(bool input, bool room) {
  input_ = input;
  room_ = room;
  if (!client_.valid()) return;
  pollfd client{client_.get(), 0, 0};
  if (poll(&client, 1, 0) == 1) {
    // Gone, yet not read to the end: it would be told again and again.
    waits_.forget(client_.get());
  } else {
    waits_.watch(client_.get(), input && !input_over_, room);
  }
}

void SocketPort::take_client() {
  client_ = FileDescriptor(accept4(listener_.get(), nullptr, nullptr, SOCK_NONBLOCK | SOCK_CLOEXEC));
  if (!client_.valid()) return;
  input_over_ = false;
  waits_.forget(listener_.get());  // who connects meanwhile waits
}

void SocketPort::let_client_go() {
  waits_.forget(client_.get());
  client_.reset();
  waits_.watch(listener_.get(), true, false);
}

bool SocketPort::read(PortRead& intake, std::size_t most) {
  if (!client_.valid()) take_client();
  if (!client_.valid()) return true;
  if (most > 0 && !input_over_) {
    std::array<std::uint8_t, read_at_once> buffer;
    const ssize_t size = recv(client_.get(), buffer.data(), std::min(most, buffer.size()), 0);
    if (size > 0) intake.bytes.insert(intake.bytes.end(), buffer.begin(), buffer.begin() + size);
    input_over_ = size == 0 || (size < 0 && errno != EAGAIN && errno != EINTR);
  }
  pollfd client{client_.get(), 0, 0};
  const bool closed = poll(&client, 1, 0) == 1;
  if (closed && input_over_) {
    intake.left = true;
    let_client_go();
  } else {
    watch(input_, room_);
  }
  return true;
}

std::ptrdiff_t SocketPort::write(std::span<const std::uint8_t> bytes) {
  const ssize_t size = send(client_.get(), bytes.data(), bytes.size(), MSG_NOSIGNAL);
  // A client that has just gone is found out by the next read().
  return size >= 0 ? size : 0;
}

std::string SocketPort::take_note() {
  if (told_second_ || !client_.valid()) return {};
  pollfd waiting{listener_.get(), POLLIN, 0};
  if (poll(&waiting, 1, 0) != 1) return {};
  told_second_ = true;
  return "a second program has connected and waits: the port serves one at a time";
}

}  // namespace hopbench
