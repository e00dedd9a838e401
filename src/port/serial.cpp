#include "port/serial.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/serial.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <optional>

namespace hopbench {
namespace {

constexpr std::size_t read_at_once = 4096;

PortError error_of(const std::string& path) { return {fmt::format("{}: {}", path, std::strerror(errno))}; }

std::optional<tcflag_t> size_flag(std::uint32_t data_bits) {
  switch (data_bits) {
    case 5:
      return CS5;
    case 6:
      return CS6;
    case 7:
      return CS7;
    case 8:
      return CS8;
    default:
      return std::nullopt;
  }
}

/// Character flags of `line`; none if no UART has them. With five data bits CSTOPB means one and a half.
std::optional<tcflag_t> character_flags(const LineCoding& line) {
  const auto size = size_flag(line.data_bits);
  if (!size) return std::nullopt;
  tcflag_t flags = *size;
  if (line.parity != Parity::none) flags |= PARENB;
  if (line.parity == Parity::odd) flags |= PARODD;
  if (line.stop_half_bits != 2) {
    const std::uint32_t long_stop = line.data_bits == 5 ? 3 : 4;
    if (line.stop_half_bits != long_stop) return std::nullopt;
    flags |= CSTOPB;
  }
  return flags;
}

std::string name_of(const LineCoding& line) {
  const char parity = line.parity == Parity::none ? 'N' : line.parity == Parity::even ? 'E' : 'O';
  return fmt::format("{}{}{}", line.data_bits, parity, line.stop_half_bits / 2.0);
}

/// Sets the line and looks at what the driver made of it: tcsetattr() is content if any one change was made.
std::optional<PortError> set_characters(const std::string& path, int fd, const LineCoding& line) {
  const auto wanted = character_flags(line);
  if (!wanted) return PortError{fmt::format("{}: no serial port does {} characters", path, name_of(line))};
  termios settings{};
  if (tcgetattr(fd, &settings) != 0) return error_of(path);
  constexpr tcflag_t character_mask = CSIZE | PARENB | PARODD | CSTOPB;
  cfmakeraw(&settings);
  settings.c_iflag &= ~static_cast<tcflag_t>(IGNPAR | IGNBRK | BRKINT | IXOFF | IXANY);
  settings.c_iflag |= PARMRK | INPCK;
  settings.c_cflag &= ~static_cast<tcflag_t>(character_mask | CRTSCTS);
  settings.c_cflag |= *wanted | CREAD | CLOCAL;
  settings.c_cc[VMIN] = 1;
  settings.c_cc[VTIME] = 0;
  if (tcsetattr(fd, TCSANOW, &settings) != 0) return error_of(path);
  termios made{};
  if (tcgetattr(fd, &made) != 0) return error_of(path);
  constexpr tcflag_t mark_mask = PARMRK | INPCK | IGNPAR | IGNBRK | BRKINT | ISTRIP;
  if ((made.c_cflag & character_mask) != *wanted || (made.c_iflag & mark_mask) != (PARMRK | INPCK)) {
    return PortError{fmt::format("{}: cannot be set to {} characters with errors marked", path, name_of(line))};
  }
  return std::nullopt;
}

std::optional<PortError> set_speed(const std::string& path, int fd, std::uint32_t baud,
                                   std::vector<std::string>& findings) {
  const bool taken = set_line_speed(fd, baud);
  const auto made = line_speed(fd);
  if (!taken || !made) return PortError{fmt::format("{}: cannot be set to {} Bd", path, baud)};
  const std::uint64_t off = *made > baud ? *made - baud : baud - *made;
  if (off * 1000 > std::uint64_t{baud} * baud_tolerance_per_mille) {
    return PortError{fmt::format("{}: asked for {} Bd, the driver made it {} Bd", path, baud, *made)};
  }
  if (off != 0) {
    findings.push_back(fmt::format("rate {} Bd instead of {} Bd ({:+.2f} %)", *made, baud,
                                   100.0 * (static_cast<double>(*made) - baud) / baud));
  }
  return std::nullopt;
}

}  // namespace

std::variant<std::unique_ptr<SerialPort>, PortError> SerialPort::open(const std::string& path, const LineCoding& line) {
  auto port = std::unique_ptr<SerialPort>(new SerialPort(line));
  port->fd_ = FileDescriptor(::open(path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC));
  if (!port->fd_.valid() || !port->waits_.valid()) return error_of(path);
  const int fd = port->fd_.get();
  if (isatty(fd) == 0) return PortError{fmt::format("{}: is no serial port", path)};
  // Exclusive mode does not stop a privileged program, the lock does not stop one that asks for none: both.
  if (flock(fd, LOCK_EX | LOCK_NB) != 0) return PortError{fmt::format("{}: in use by another program", path)};
  if (ioctl(fd, TIOCEXCL) != 0 || !port->saved_.save(fd)) return error_of(path);
  if (auto error = set_characters(path, fd, line)) return *error;
  if (auto error = set_speed(path, fd, line.baud, port->findings_)) return *error;
  if (!port->low_latency_.ask(fd)) {
    port->findings_.emplace_back("the driver has no low-latency setting: bytes may be handed over late");
  }
  if (const auto latency = adapter_latency_ms(path)) {
    port->findings_.push_back(
        fmt::format("the adapter gathers bytes for up to {} ms before it hands them over", *latency));
  }
  port->counters_ = port->counters();
  if (!port->counters_.known) {
    port->findings_.emplace_back("the driver does not count errors: overruns go unseen");
  }
  tcflush(fd, TCIOFLUSH);
  port->watch(true, false);
  return port;
}

SerialPort::~SerialPort() {
  if (!fd_.valid()) return;
  saved_.restore(fd_.get());
  ioctl(fd_.get(), TIOCNXCL);
}

SerialPort::Counters SerialPort::counters() const {
  serial_icounter_struct raw{};
  if (ioctl(fd_.get(), TIOCGICOUNT, &raw) != 0) return {};
  return {raw.frame, raw.parity, raw.overrun, raw.buf_overrun, true};
}

bool SerialPort::read(PortRead& intake, std::size_t most) {
  if (most == 0) return true;
  std::array<std::uint8_t, read_at_once> buffer;
  const ssize_t size = ::read(fd_.get(), buffer.data(), std::min(most, buffer.size()));
  if (size < 0) return errno == EAGAIN || errno == EINTR;
  if (size == 0) return false;
  const Counters now = counters();
  // A mark does not say which error it was. Without parity it can only be the stop bit; with parity the counters
  // tell, as far as one read goes.
  std::uint8_t error = line_.parity == Parity::none ? framing_flag : parity_flag;
  if (line_.parity != Parity::none && now.framing != counters_.framing) {
    error = now.parity == counters_.parity ? framing_flag : framing_flag | parity_flag;
  }
  const std::size_t first = intake.bytes.size();
  marks_.take({buffer.data(), static_cast<std::size_t>(size)}, error, intake);
  // Where in the read the loss was cannot be told; its first byte carries the flag.
  const bool lost = now.overrun != counters_.overrun || now.lost_in_kernel != counters_.lost_in_kernel;
  if (lost && intake.bytes.size() > first) intake.flags[first] |= overrun_flag;
  if (intake.bytes.size() > first) counters_ = now;
  return true;
}

std::ptrdiff_t SerialPort::write(std::span<const std::uint8_t> bytes) {
  const ssize_t size = ::write(fd_.get(), bytes.data(), bytes.size());
  if (size >= 0) return size;
  return errno == EAGAIN || errno == EINTR ? 0 : -1;
}

}  // namespace hopbench
