#include "port/pty.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <termios.h>

#include <fstream>
#include <numeric>

#include "fixtures.h"
#include "port/line_speed.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;
using Bytes = std::vector<std::uint8_t>;

LineCoding at_baud(std::uint32_t baud) {
  LineCoding line;
  line.baud = baud;
  return line;
}

std::unique_ptr<PtyPort> open_pty(const std::string& link, std::uint32_t baud = 57'600) {
  auto made = PtyPort::open(link, at_baud(baud));
  if (const auto* error = std::get_if<PortError>(&made)) FAIL(error->what);
  return std::move(std::get<std::unique_ptr<PtyPort>>(made));
}

std::string refusal_of(const std::string& link) {
  auto made = PtyPort::open(link, at_baud(57'600));
  const auto* error = std::get_if<PortError>(&made);
  return error != nullptr ? error->what : "";
}

LineCoding with_parity() {
  LineCoding line = at_baud(57'600);
  line.parity = Parity::even;
  return line;
}

/// Reads until there is nothing to do any more, as the loop does when the descriptor is readable.
PortRead read_all(PtyPort& port) {
  PortRead all;
  for (int turns = 0; readable_within(port.descriptor(), 0); ++turns) {
    REQUIRE(turns < 20);
    PortRead intake;
    REQUIRE(port.read(intake, 4096));
    all.bytes.insert(all.bytes.end(), intake.bytes.begin(), intake.bytes.end());
    all.left = all.left || intake.left;
  }
  return all;
}

/// Waits for `size` bytes from the client.
Bytes read_from(PtyPort& port, std::size_t size) {
  PortRead intake;
  while (intake.bytes.size() < size && readable_within(port.descriptor(), patience_ms)) {
    REQUIRE(port.read(intake, 4096));
  }
  return intake.bytes;
}

FileDescriptor open_client(const std::string& path) {
  FileDescriptor client(::open(path.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK));
  REQUIRE(client.valid());
  return client;
}

TEST_CASE("the link leads to the client side and goes away with the port") {
  const Folder folder;
  const auto link = folder / "chain";
  auto port = open_pty(link);
  CHECK(fs::read_symlink(link) == port->client_path());
  struct stat status {};
  REQUIRE(stat(link.c_str(), &status) == 0);
  CHECK(S_ISCHR(status.st_mode));
  port.reset();
  CHECK_FALSE(fs::is_symlink(fs::symlink_status(link)));
}

TEST_CASE("the client side is raw before any client has opened it") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  // Written before the client looks: on a fresh pty this would be echoed back to us.
  const Bytes sent{0x0a, 0x0d, 0x03, 0x04, 0x11, 0x13, 0x00, 0xff, 0x7f};
  REQUIRE(port->write(sent) == static_cast<std::ptrdiff_t>(sent.size()));
  const auto client = open_client(folder / "chain");
  CHECK(read_bytes(client.get(), sent.size()) == sent);
  CHECK(read_all(*port).bytes.empty());

  termios settings{};
  REQUIRE(tcgetattr(client.get(), &settings) == 0);
  CHECK((settings.c_lflag & static_cast<tcflag_t>(ECHO | ICANON | ISIG | IEXTEN)) == 0);
  CHECK((settings.c_oflag & static_cast<tcflag_t>(OPOST)) == 0);
  CHECK((settings.c_iflag & static_cast<tcflag_t>(ICRNL | INLCR | IXON | ISTRIP)) == 0);

  write_bytes(client.get(), sent);
  CHECK(read_from(*port, sent.size()) == sent);
}

TEST_CASE("descriptors are not handed to child processes") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  for (const auto& entry : fs::directory_iterator("/proc/self/fd")) {
    std::error_code gone;
    const auto target = fs::read_symlink(entry.path(), gone).string();
    if (gone || (target != port->client_path() && target.find("ptmx") == std::string::npos)) continue;
    const int fd = std::stoi(entry.path().filename().string());
    INFO(target);
    CHECK((fcntl(fd, F_GETFD) & FD_CLOEXEC) != 0);
  }
}

TEST_CASE("a client may leave and come back") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  CHECK_FALSE(port->somebody_there());
  for (std::uint8_t turn = 0; turn < 3; ++turn) {
    auto client = open_client(folder / "chain");
    CHECK(port->somebody_there());
    write_bytes(client.get(), Bytes{turn, 0xaa});
    CHECK(read_from(*port, 2) == Bytes{turn, 0xaa});
    client.reset();
    CHECK_FALSE(port->somebody_there());
    // No end of the port: it is told once that the client has left, and nothing is left to do.
    REQUIRE(readable_within(port->descriptor(), patience_ms));
    const PortRead last = read_all(*port);
    CHECK(last.left);
    CHECK(last.bytes.empty());
    CHECK_FALSE(readable_within(port->descriptor(), 0));
    PortRead more;
    CHECK(port->read(more, 4096));
    CHECK_FALSE(more.left);
    CHECK_FALSE(readable_within(port->descriptor(), 0));
  }
}

TEST_CASE("that a client has come is told though it sends nothing") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  read_all(*port);
  const auto client = open_client(folder / "chain");
  CHECK(readable_within(port->descriptor(), patience_ms));
  read_all(*port);
  write_bytes(client.get(), Bytes{7});
  CHECK(read_from(*port, 1) == Bytes{7});
}

TEST_CASE("one of two clients may leave") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  const auto first = open_client(folder / "chain");
  auto second = open_client(folder / "chain");
  read_all(*port);
  const Bytes answer{1, 2, 3};
  REQUIRE(port->write(answer) == 3);
  second.reset();
  CHECK_FALSE(read_all(*port).left);
  CHECK(port->somebody_there());
  CHECK(read_bytes(first.get(), 3) == answer);
}

TEST_CASE("what a client sent before it left is read") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  auto client = open_client(folder / "chain");
  write_bytes(client.get(), Bytes{1, 2, 3});
  client.reset();
  CHECK(read_from(*port, 3) == Bytes{1, 2, 3});
  read_all(*port);
  CHECK_FALSE(readable_within(port->descriptor(), 0));
}

TEST_CASE("while a client is far ahead it is not waited for, even if it has left") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  auto client = open_client(folder / "chain");
  read_all(*port);
  port->watch(false, false);
  write_bytes(client.get(), Bytes{1, 2, 3});
  client.reset();
  for (int turns = 0; readable_within(port->descriptor(), 0); ++turns) {
    REQUIRE(turns < 20);
    PortRead nothing;
    REQUIRE(port->read(nothing, 0));
    CHECK(nothing.bytes.empty());
  }
  port->watch(true, false);
  CHECK(read_from(*port, 3) == Bytes{1, 2, 3});
}

TEST_CASE("what a client has not fetched when it leaves is thrown away and counted") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  const Bytes stale{1, 2, 3, 4, 5};
  {
    const auto client = open_client(folder / "chain");
    read_all(*port);
    REQUIRE(port->write(stale) == 5);
    REQUIRE(readable_within(client.get(), patience_ms));
  }
  CHECK(read_all(*port).left);
  CHECK(port->losses().nobody_there == 5);
  CHECK(port->losses().not_fetched == 0);
  const auto client = open_client(folder / "chain");
  const Bytes fresh{9};
  REQUIRE(port->write(fresh) == 1);
  CHECK(read_bytes(client.get(), 1) == fresh);
  CHECK_FALSE(readable_within(client.get(), 0));
}

TEST_CASE("half a line that a client of lines left is not for the next one either") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  {
    const auto client = open_client(folder / "chain");
    read_all(*port);
    termios settings{};
    REQUIRE(tcgetattr(client.get(), &settings) == 0);
    settings.c_lflag |= ICANON;
    REQUIRE(tcsetattr(client.get(), TCSANOW, &settings) == 0);
    const Bytes half{'a', 'b'};
    REQUIRE(port->write(half) == 2);
    CHECK_FALSE(readable_within(client.get(), 0));
  }
  CHECK(read_all(*port).left);
  const auto client = open_client(folder / "chain");
  const Bytes rest{'c', '\n'};
  REQUIRE(port->write(rest) == 2);
  CHECK(read_bytes(client.get(), 2) == rest);
  CHECK_FALSE(readable_within(client.get(), 0));
}

TEST_CASE("so is what was written to a client that came and went between two looks") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  read_all(*port);
  const Bytes stale{1, 2, 3};
  {
    const auto client = open_client(folder / "chain");
    REQUIRE(port->write(stale) == 3);
    REQUIRE(readable_within(client.get(), patience_ms));
  }
  read_all(*port);
  CHECK(port->losses().nobody_there == 3);
  const auto client = open_client(folder / "chain");
  CHECK_FALSE(readable_within(client.get(), 0));
}

TEST_CASE("the pty's own delay has been measured before anybody comes, and leaves nothing behind") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  CHECK(port->delay().median > 0);
  CHECK(port->delay().most >= port->delay().median);
  const auto client = open_client(folder / "chain");
  CHECK_FALSE(readable_within(client.get(), 0));
}

TEST_CASE("nothing but a link that an earlier run left behind is replaced") {
  const Folder folder;
  const auto path = folder / "chain";

  SECTION("a file stays as it is") {
    std::ofstream(path) << "precious";
    CHECK(refusal_of(path) == path + ": exists and is no link of an earlier run; give a path that is free");
    std::string text;
    std::ifstream(path) >> text;
    CHECK(text == "precious");
  }
  SECTION("a folder stays") {
    fs::create_directory(path);
    CHECK_FALSE(refusal_of(path).empty());
    CHECK(fs::is_directory(path));
  }
  SECTION("a link to something else stays, even if that is missing") {
    fs::create_symlink(folder / "elsewhere", path);
    CHECK_FALSE(refusal_of(path).empty());
    CHECK(fs::read_symlink(path) == folder / "elsewhere");
  }
  SECTION("a link to a pty in use stays") {
    const auto other = open_pty(folder / "other");
    fs::create_symlink(other->client_path(), path);
    CHECK(refusal_of(path).find("in use") != std::string::npos);
    CHECK(fs::read_symlink(path) == other->client_path());
  }
  SECTION("a link to a pty that is gone is replaced") {
    fs::create_symlink("/dev/pts/999999", path);
    const auto port = open_pty(path);
    CHECK(fs::read_symlink(path) == port->client_path());
  }
  SECTION("two benches cannot share a link") {
    const auto first = open_pty(path);
    CHECK(refusal_of(path).find("in use") != std::string::npos);
    CHECK(fs::read_symlink(path) == first->client_path());
  }
  SECTION("a folder that is not there gives one line") {
    CHECK(refusal_of(folder / "no/such/link") == folder / "no/such/link" + ": No such file or directory");
  }
}

TEST_CASE("a link that somebody has put in the place of ours is left alone") {
  const Folder folder;
  const auto link = folder / "chain";
  auto port = open_pty(link);
  fs::remove(link);
  fs::create_symlink("/dev/null", link);
  port.reset();
  CHECK(fs::read_symlink(link) == "/dev/null");
}

TEST_CASE("another baud rate at the client is told once") {
  const Folder folder;
  const auto port = open_pty(folder / "chain", 57'600);
  CHECK(port->take_note().empty());
  const auto client = open_client(folder / "chain");
  CHECK(line_speed(client.get()) == 57'600U);
  // A rate that no B-constant names. It counts when the client sends.
  REQUIRE(set_line_speed(client.get(), 123'456));
  read_all(*port);
  CHECK(port->take_note().empty());
  write_bytes(client.get(), Bytes{1});
  REQUIRE(read_from(*port, 1).size() == 1);
  const auto note = port->take_note();
  CHECK(note.find("123456 Bd") != std::string::npos);
  CHECK(note.find("57600 Bd") != std::string::npos);
  CHECK(port->take_note().empty());
}

/// As programs do it that use a serial port with parity: raw, and the local line that nobody else controls.
int set_up(int client, std::uint32_t data_bits, tcflag_t more) {
  termios settings{};
  REQUIRE(tcgetattr(client, &settings) == 0);
  cfmakeraw(&settings);
  settings.c_cflag &= ~static_cast<tcflag_t>(CSIZE | PARODD | CSTOPB);
  settings.c_cflag |= (data_bits == 7 ? tcflag_t{CS7} : tcflag_t{CS8}) | CREAD | CLOCAL | more;
  settings.c_cc[VMIN] = 3;
  settings.c_cc[VTIME] = 7;
  return tcsetattr(client, TCSANOW, &settings);
}

/// As the loop does each millisecond at least, and again at once if the port wants it.
void look(PtyPort& port) {
  PortRead nothing;
  REQUIRE(port.read(nothing, 4096));
  CHECK(port.restless());
  REQUIRE(port.read(nothing, 4096));
}

TEST_CASE("a client may set up what a pty does not have as often as it likes") {
  struct Coding {
    std::uint32_t bits;
    tcflag_t more;
  };
  const auto coding = GENERATE(Coding{8, PARENB}, Coding{7, PARENB}, Coding{8, PARENB | PARODD},
                               Coding{8, PARENB | CSTOPB}, Coding{7, 0});
  LineCoding line = with_parity();
  line.data_bits = coding.bits;
  if ((coding.more & PARENB) == 0) line.parity = Parity::none;
  const Folder folder;
  auto made = PtyPort::open(folder / "chain", line);
  REQUIRE(std::holds_alternative<std::unique_ptr<PtyPort>>(made));
  const auto port = std::move(std::get<std::unique_ptr<PtyPort>>(made));
  for (int client_number = 0; client_number < 2; ++client_number) {
    const auto client = open_client(folder / "chain");
    for (int turn = 0; turn < 4; ++turn) {
      INFO("client " << client_number << ", set-up " << turn);
      CHECK(set_up(client.get(), coding.bits, coding.more) == 0);
      look(*port);
      termios settings{};
      REQUIRE(tcgetattr(client.get(), &settings) == 0);
      CHECK(settings.c_cc[VMIN] == 3);
      CHECK(settings.c_cc[VTIME] == 7);
      CHECK((settings.c_lflag & static_cast<tcflag_t>(ICANON | ECHO)) == 0);
    }
  }
}

TEST_CASE("that a pty has no parity is told once, when a client has set the port up") {
  const Folder folder;
  auto made = PtyPort::open(folder / "chain", with_parity());
  const auto port = std::move(std::get<std::unique_ptr<PtyPort>>(made));
  const auto client = open_client(folder / "chain");
  read_all(*port);
  CHECK(port->take_note().empty());
  set_up(client.get(), 8, PARENB);
  look(*port);
  CHECK(port->take_note().find("8 bits without parity") != std::string::npos);
  CHECK(port->take_note().empty());
}

TEST_CASE("on a bus of 8 bits without parity a client's settings are left alone") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  const auto client = open_client(folder / "chain");
  REQUIRE(set_up(client.get(), 8, 0) == 0);
  read_all(*port);
  CHECK_FALSE(port->restless());
  CHECK(port->take_note().empty());
  termios settings{};
  REQUIRE(tcgetattr(client.get(), &settings) == 0);
  CHECK((settings.c_cflag & CLOCAL) != 0);
}

TEST_CASE("what a client does not fetch is thrown away from its old end, and counted") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  const auto client = open_client(folder / "chain");
  Bytes block(1000);
  std::uint64_t written = 0;
  for (std::uint8_t turn = 0; turn < 100; ++turn) {
    std::fill(block.begin(), block.end(), turn);
    const auto taken = port->write(block);
    REQUIRE(taken >= 0);
    written += static_cast<std::uint64_t>(taken);
  }
  const std::uint64_t dropped = port->losses().not_fetched;
  CHECK(dropped > 0);
  const auto left = written - dropped;
  CHECK(left < 64 * 1024);
  const auto kept = read_bytes(client.get(), left);
  REQUIRE(kept.size() == left);
  CHECK(std::is_sorted(kept.begin(), kept.end()));
  CHECK(kept.front() > 0);
  CHECK_FALSE(readable_within(client.get(), 0));
  CHECK(port->losses().nobody_there == 0);
}

}  // namespace
}  // namespace hopbench
