// A pty's client side stands in for a serial port as far as it goes: it has rates, marks and locks, but it neither
// does parity or seven bits nor counts errors (Linux pty driver). Real line errors need a real UART.
#include "port/serial.h"

#include <fcntl.h>
#include <sys/file.h>
#include <termios.h>

#include <fstream>

#include "fixtures.h"
#include "port/pty.h"

namespace hopbench {
namespace {

using Bytes = std::vector<std::uint8_t>;

LineCoding coding(std::uint32_t baud, std::uint32_t bits = 8, Parity parity = Parity::none, std::uint32_t stop = 2) {
  LineCoding line;
  line.baud = baud;
  line.data_bits = bits;
  line.parity = parity;
  line.stop_half_bits = stop;
  return line;
}

/// The far end of a cable: a pty whose master is held by the test.
struct Cable {
  Folder folder;
  std::unique_ptr<PtyPort> far;
  std::string path = folder / "cable";
  Cable() {
    auto made = PtyPort::open(path, coding(9600));
    REQUIRE(std::holds_alternative<std::unique_ptr<PtyPort>>(made));
    far = std::move(std::get<std::unique_ptr<PtyPort>>(made));
  }
};

std::unique_ptr<SerialPort> open_serial(const std::string& path, const LineCoding& line) {
  auto made = SerialPort::open(path, line);
  if (const auto* error = std::get_if<PortError>(&made)) FAIL(error->what);
  return std::move(std::get<std::unique_ptr<SerialPort>>(made));
}

std::string refusal_of(const std::string& path, const LineCoding& line) {
  auto made = SerialPort::open(path, line);
  const auto* error = std::get_if<PortError>(&made);
  return error != nullptr ? error->what : "";
}

TEST_CASE("a serial port is raw, marks errors and runs at any rate") {
  const Cable cable;
  const auto rate = GENERATE(9600U, 57'600U, 250'000U, 31'250U);
  const auto port = open_serial(cable.path, coding(rate));
  CHECK(line_speed(port->line()) == rate);
  termios settings{};
  REQUIRE(tcgetattr(port->line(), &settings) == 0);
  CHECK((settings.c_iflag & (PARMRK | INPCK)) == (PARMRK | INPCK));
  CHECK((settings.c_iflag & static_cast<tcflag_t>(IGNPAR | IGNBRK | BRKINT | ISTRIP | IXON | IXOFF | ICRNL)) == 0);
  CHECK((settings.c_lflag & static_cast<tcflag_t>(ECHO | ICANON | ISIG)) == 0);
  CHECK((settings.c_cflag & static_cast<tcflag_t>(CSIZE)) == CS8);
  CHECK((settings.c_cflag & static_cast<tcflag_t>(CREAD | CLOCAL)) == (CREAD | CLOCAL));
  CHECK(settings.c_cc[VMIN] == 1);
  CHECK(settings.c_cc[VTIME] == 0);
  CHECK((fcntl(port->line(), F_GETFD) & FD_CLOEXEC) != 0);
}

TEST_CASE("every byte value comes through the marks") {
  const Cable cable;
  const auto port = open_serial(cable.path, coding(57'600));
  Bytes all(256);
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = static_cast<std::uint8_t>(i);
  REQUIRE(cable.far->write(all) == 256);
  PortRead intake;
  while (intake.bytes.size() < all.size()) {
    REQUIRE(readable_within(port->descriptor(), patience_ms));
    REQUIRE(port->read(intake, 4096));
  }
  CHECK(intake.bytes == all);
  CHECK(intake.flags == Bytes(256, 0));

  REQUIRE(port->write(all) == 256);
  PortRead back;
  while (back.bytes.size() < all.size() && readable_within(cable.far->descriptor(), patience_ms)) {
    REQUIRE(cable.far->read(back, 4096));
  }
  CHECK(back.bytes == all);
}

TEST_CASE("two stop bits are set, what the port cannot do is refused") {
  const Cable cable;
  {
    const auto port = open_serial(cable.path, coding(9600, 8, Parity::none, 4));
    termios settings{};
    REQUIRE(tcgetattr(port->line(), &settings) == 0);
    CHECK((settings.c_cflag & static_cast<tcflag_t>(CSTOPB)) != 0);
  }
  // Linux ptys force eight bits without parity: the setting is taken and not made.
  CHECK(refusal_of(cable.path, coding(9600, 7, Parity::even)) ==
        cable.path + ": cannot be set to 7E1 characters with errors marked");
  CHECK(refusal_of(cable.path, coding(9600, 8, Parity::none, 3)) ==
        cable.path + ": no serial port does 8N1.5 characters");
}

TEST_CASE("the port is held against others while it is open") {
  const Cable cable;
  {
    const auto port = open_serial(cable.path, coding(9600));
    const FileDescriptor other(::open(cable.path.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
    // Exclusive mode lets a privileged process open it all the same; the lock tells that one.
    if (other.valid()) CHECK(flock(other.get(), LOCK_EX | LOCK_NB) != 0);
  }
  const FileDescriptor other(::open(cable.path.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
  REQUIRE(other.valid());
  REQUIRE(flock(other.get(), LOCK_EX | LOCK_NB) == 0);
  CHECK(refusal_of(cable.path, coding(9600)) == cable.path + ": in use by another program");
}

TEST_CASE("settings are put back at the end") {
  const Cable cable;
  const FileDescriptor watcher(::open(cable.path.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
  REQUIRE(watcher.valid());
  REQUIRE(set_line_speed(watcher.get(), 31'250));
  termios before{};
  REQUIRE(tcgetattr(watcher.get(), &before) == 0);
  { const auto port = open_serial(cable.path, coding(250'000, 8, Parity::none, 4)); }
  termios after{};
  REQUIRE(tcgetattr(watcher.get(), &after) == 0);
  CHECK(before.c_iflag == after.c_iflag);
  CHECK(before.c_cflag == after.c_cflag);
  CHECK(before.c_lflag == after.c_lflag);
  CHECK(line_speed(watcher.get()) == 31'250U);
}

TEST_CASE("what is no serial port is refused in one line") {
  const Folder folder;
  const auto path = folder / "file";
  std::ofstream(path) << "x";
  CHECK(refusal_of(path, coding(9600)) == path + ": is no serial port");
  CHECK(refusal_of(folder / "missing", coding(9600)) == folder / "missing" + ": No such file or directory");
}

TEST_CASE("a port whose other end goes away is gone") {
  Cable cable;
  const auto port = open_serial(cable.path, coding(9600));
  PortRead intake;
  CHECK(port->read(intake, 4096));
  cable.far.reset();
  CHECK_FALSE(port->read(intake, 4096));
  CHECK(port->write(Bytes{1}) < 0);
}

}  // namespace
}  // namespace hopbench
