#include "port/pty.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <stdlib.h>
#include <sys/inotify.h>
#include <sys/ioctl.h>
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
#include <utility>

#include "port/line_speed.h"
#include "port/pty_delay.h"

namespace hopbench {
namespace {

constexpr std::size_t read_at_once = 4096;
constexpr std::string_view pty_folder = "/dev/pts/";
/// Within this time after a set-up the next one may follow.
constexpr auto restless_for = std::chrono::milliseconds(5);

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
  auto port = std::unique_ptr<PtyPort>(new PtyPort(line));
  // O_CLOEXEC and O_NONBLOCK from the start; posix_openpt() hands flags to open(2).
  port->master_ = FileDescriptor(posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
  if (!port->master_.valid() || !port->waits_.valid()) return error_of("cannot make a pty");
  std::array<char, PATH_MAX> name{};
  const int master = port->master_.get();
  if (grantpt(master) != 0 || unlockpt(master) != 0 || ptsname_r(master, name.data(), name.size()) != 0) {
    return error_of("cannot make a pty");
  }
  port->client_path_ = name.data();
  {
    // What is set stays set when this is closed, for as long as the master is open.
    const FileDescriptor client = port->open_client_side();
    if (!client.valid()) return error_of(port->client_path_);
    if (!make_raw(client.get()) || !set_line_speed(client.get(), line.baud)) return error_of(port->client_path_);
    port->delay_ = measure_pty_delay(master, client.get());
    tcflush(client.get(), TCIOFLUSH);
  }
  for (int turn = 0; turn < 2; ++turn) port->swallow_parity();
  port->set_up_ = false;  // that was ourselves
  port->comings_ = FileDescriptor(inotify_init1(IN_CLOEXEC | IN_NONBLOCK));
  if (!port->comings_.valid() || inotify_add_watch(port->comings_.get(), name.data(), IN_OPEN | IN_CLOSE) < 0) {
    return error_of(fmt::format("{}: cannot be watched (raise fs.inotify.max_user_instances)", port->client_path_));
  }
  port->waits_.watch(port->comings_.get(), true, false);
  if (auto error = make_way(link, port->client_path_)) return *error;
  if (symlink(port->client_path_.c_str(), link.c_str()) != 0) return error_of(link);
  port->link_ = link;
  return port;
}

PtyPort::~PtyPort() {
  if (!link_.empty() && target_of(link_) == client_path_) unlink(link_.c_str());
}

/// POLLHUP: nobody has the client side open. POLLIN: there is something to read all the same.
short PtyPort::state() const {
  pollfd master{master_.get(), POLLIN, 0};
  return poll(&master, 1, 0) < 0 ? short{0} : master.revents;
}

bool PtyPort::somebody_there() const { return (state() & POLLHUP) == 0; }

void PtyPort::watch(bool input, bool room) {
  if (input == input_ && room == room_) return;
  input_ = input;
  room_ = room;
  wait_on_master(state());
}

void PtyPort::wait_on_master(short now) {
  // A hang-up is told again and again; who comes next is told by `comings_`.
  if ((now & POLLHUP) != 0 && ((now & POLLIN) == 0 || !input_)) {
    waits_.forget(master_.get());
  } else {
    waits_.watch(master_.get(), input_, room_);
  }
}

bool PtyPort::read(PortRead& intake, std::size_t most) {
  if (see_comings()) stay_restless();
  swallow_parity();
  if (most > 0) {
    std::array<std::uint8_t, read_at_once> buffer;
    const ssize_t size = ::read(master_.get(), buffer.data(), std::min(most, buffer.size()));
    // EIO: nobody has the client side open, and all that was sent has been read.
    if (size == 0 || (size < 0 && errno != EAGAIN && errno != EINTR && errno != EIO)) return false;
    if (size > 0) {
      intake.bytes.insert(intake.bytes.end(), buffer.begin(), buffer.begin() + size);
      heard_ = true;
    }
  }
  short now = state();
  const bool nobody = (now & POLLHUP) != 0;
  if (there_ && nobody) {
    intake.left = true;
    throw_away_unread();
    now = state();
  }
  there_ = !nobody;
  wait_on_master(now);
  return true;
}

/// Something was opened or closed; the events themselves run together and cannot be counted.
bool PtyPort::see_comings() {
  alignas(inotify_event) std::array<char, 1024> events;
  bool any = false;
  while (::read(comings_.get(), events.data(), events.size()) > 0) any = true;
  return any;
}

/// A Linux pty takes a set-up with parity or other than eight bits, and leaves these out. The C library of Debian (and
/// of what comes from it) reads the settings before and after, and fails with EINVAL if they differ from what was asked
/// and nothing else has changed: so a client that sets up parity twice is refused the second time. Nothing can change
/// in between but what we do. CLOCAL means nothing at a pty, is asked for by whoever uses a serial port, and can be
/// taken away without touching the other settings, which the client may just be changing.
void PtyPort::swallow_parity() {
  if (line_.parity == Parity::none && line_.data_bits == 8) return;
  termios settings{};
  const bool was_seen = std::exchange(seen_, false);
  if (tcgetattr(master_.get(), &settings) != 0 || (settings.c_cflag & CLOCAL) == 0) return;
  stay_restless();
  seen_ = !was_seen;
  if (seen_) return;  // the client may just be reading back what it has set
  int off = 0;
  ioctl(master_.get(), TIOCSSOFTCAR, &off);
  set_up_ = true;
}

void PtyPort::stay_restless() {
  if (line_.parity == Parity::none && line_.data_bits == 8) return;
  restless_until_ = std::chrono::steady_clock::now() + restless_for;
}

FileDescriptor PtyPort::open_client_side() const {
  return FileDescriptor(::open(client_path_.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
}

void PtyPort::throw_away_unread() {
  const FileDescriptor client = open_client_side();
  std::array<std::uint8_t, read_at_once> buffer;
  for (;;) {
    const ssize_t size = ::read(client.get(), buffer.data(), buffer.size());
    if (size <= 0) break;
    losses_.nobody_there += static_cast<std::uint64_t>(size);
  }
  // What the kernel's worker has in its hands is not counted, nor half a line if the client had asked for lines.
  tcflush(client.get(), TCIFLUSH);
  tcflush(master_.get(), TCOFLUSH);
}

bool PtyPort::drop_oldest() {
  const FileDescriptor client = open_client_side();
  std::array<std::uint8_t, read_at_once> buffer;
  const ssize_t size = ::read(client.get(), buffer.data(), buffer.size());
  if (size <= 0) return false;
  losses_.not_fetched += static_cast<std::uint64_t>(size);
  return true;
}

std::ptrdiff_t PtyPort::write(std::span<const std::uint8_t> bytes) {
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t size = ::write(master_.get(), bytes.data() + done, bytes.size() - done);
    if (size > 0) {
      done += static_cast<std::size_t>(size);
      there_ = true;  // and if not, what it has not fetched is for nobody else
    } else if (size < 0 && errno == EINTR) {
      continue;
    } else if (size == 0 || errno == EAGAIN) {
      // The kernel gives room back in whole buffers, so it may take more than these bytes' worth. If there is
      // nothing to drop, somebody has just read: the rest goes later.
      if (!drop_oldest()) break;
    } else {
      return -1;
    }
  }
  return static_cast<std::ptrdiff_t>(done);
}

std::string PtyPort::take_note() {
  if (heard_ && !told_speed_) {
    heard_ = false;
    const auto asked = line_speed(master_.get());
    if (asked && *asked != line_.baud) {
      told_speed_ = true;
      return fmt::format(
          "the program at the port has set {} Bd, but the bus runs at {} Bd; a real line would garble every frame (a "
          "pty does not)",
          *asked, line_.baud);
    }
  }
  if (set_up_ && !told_parity_) {
    told_parity_ = true;
    return "a pty carries 8 bits without parity, whatever the program sets; if it fails to set the port up again "
           "(\"Invalid argument\"), set it to 8 bits without parity here, which changes nothing else";
  }
  return {};
}

}  // namespace hopbench
