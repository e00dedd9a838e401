#include "record/ack_lines.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>

namespace hopbench {

int AckLines::trouble_with(int fd) {
  const int flags = fd < 0 ? -1 : ::fcntl(fd, F_GETFL);
  if (flags < 0) return EBADF;
  return (flags & O_ACCMODE) == O_RDONLY ? EACCES : 0;
}

void AckLines::written(std::uint64_t records) {
  written_ = records;
  tell();
}

void AckLines::synced(std::uint64_t records) {
  synced_ = records;
  tell();
}

void AckLines::tell() {
  while (!gone_) {
    if (!rest_.empty() && !send_rest()) return;
    if (written_told_ != written_) {
      written_told_ = written_;
      rest_ = fmt::format("written {}\n", written_);
    } else if (synced_told_ != synced_) {
      synced_told_ = synced_;
      rest_ = fmt::format("synced {}\n", synced_);
    } else {
      return;
    }
  }
}

bool AckLines::send_rest() {
  // O_NONBLOCK would be set for all who share the descriptor. A pipe that can be written to has room for a line whole.
  ssize_t sent = ::send(fd_, rest_.data(), rest_.size(), MSG_DONTWAIT | MSG_NOSIGNAL);
  if (sent < 0 && errno == ENOTSOCK) {
    pollfd waiting{fd_, POLLOUT, 0};
    if (::poll(&waiting, 1, 0) <= 0) return false;
    // Also spares the process a SIGPIPE.
    gone_ = (waiting.revents & (POLLERR | POLLNVAL | POLLHUP)) != 0;
    if (gone_ || (waiting.revents & POLLOUT) == 0) return false;
    sent = ::write(fd_, rest_.data(), rest_.size());
  }
  if (sent < 0) {
    gone_ = errno != EAGAIN && errno != EWOULDBLOCK && errno != EINTR;
    return false;
  }
  rest_.erase(0, static_cast<std::size_t>(sent));
  return rest_.empty();
}

}  // namespace hopbench
