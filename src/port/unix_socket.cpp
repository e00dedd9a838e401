#include "port/unix_socket.h"

#include <fmt/format.h>
#include <poll.h>
#include <sys/socket.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <utility>

namespace hopbench {
namespace {

constexpr std::size_t read_at_once = 4096;

}  // namespace

std::variant<std::unique_ptr<SocketPort>, PortError> SocketPort::open(const std::string& path) {
  auto port = std::unique_ptr<SocketPort>(new SocketPort);
  if (!port->waits_.valid()) return PortError{fmt::format("{}: {}", path, std::strerror(errno))};
  auto made = UnixListener::open(path);
  if (auto* error = std::get_if<PortError>(&made)) return *error;
  port->listener_ = std::move(std::get<std::unique_ptr<UnixListener>>(made));
  port->waits_.watch(port->listener_->descriptor(), true, false);
  return port;
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
  client_ = listener_->take(false);
  if (!client_.valid()) return;
  input_over_ = false;
  waits_.forget(listener_->descriptor());  // who connects meanwhile waits
}

void SocketPort::let_client_go() {
  waits_.forget(client_.get());
  client_.reset();
  waits_.watch(listener_->descriptor(), true, false);
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
  pollfd waiting{listener_->descriptor(), POLLIN, 0};
  if (poll(&waiting, 1, 0) != 1) return {};
  told_second_ = true;
  return "a second program has connected and waits: the port serves one at a time";
}

}  // namespace hopbench
