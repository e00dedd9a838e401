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
  CHECK_FALSE(readable_within(port->descriptor(), 0));

  termios settings{};
  REQUIRE(tcgetattr(client.get(), &settings) == 0);
  CHECK((settings.c_lflag & static_cast<tcflag_t>(ECHO | ICANON | ISIG | IEXTEN)) == 0);
  CHECK((settings.c_oflag & static_cast<tcflag_t>(OPOST)) == 0);
  CHECK((settings.c_iflag & static_cast<tcflag_t>(ICRNL | INLCR | IXON | ISTRIP)) == 0);

  write_bytes(client.get(), sent);
  REQUIRE(readable_within(port->descriptor(), patience_ms));
  Intake intake;
  while (intake.bytes.size() < sent.size()) REQUIRE(port->read(intake));
  CHECK(intake.bytes == sent);
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
  Intake intake;
  for (std::uint8_t turn = 0; turn < 3; ++turn) {
    intake.clear();
    auto client = open_client(folder / "chain");
    write_bytes(client.get(), Bytes{turn, 0xaa});
    REQUIRE(readable_within(port->descriptor(), patience_ms));
    REQUIRE(port->read(intake));
    CHECK(intake.bytes == Bytes{turn, 0xaa});
    client.reset();
    // No hang-up: reading finds nothing, and the port is not gone.
    intake.clear();
    CHECK(port->read(intake));
    CHECK(intake.bytes.empty());
  }
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
  // A rate that no B-constant names.
  REQUIRE(set_line_speed(client.get(), 123'456));
  const auto note = port->take_note();
  CHECK(note.find("123456 Bd") != std::string::npos);
  CHECK(note.find("57600 Bd") != std::string::npos);
  CHECK(port->take_note().empty());
}

TEST_CASE("what nobody fetches is thrown away from its old end, and counted") {
  const Folder folder;
  const auto port = open_pty(folder / "chain");
  Bytes block(1000);
  std::uint64_t written = 0;
  for (std::uint8_t turn = 0; turn < 100; ++turn) {
    std::fill(block.begin(), block.end(), turn);
    const auto taken = port->write(block);
    REQUIRE(taken >= 0);
    written += static_cast<std::uint64_t>(taken);
  }
  CHECK(port->dropped() > 0);
  const auto left = written - port->dropped();
  CHECK(left < 64 * 1024);
  const auto client = open_client(folder / "chain");
  const auto kept = read_bytes(client.get(), left);
  REQUIRE(kept.size() == left);
  CHECK(std::is_sorted(kept.begin(), kept.end()));
  CHECK(kept.front() > 0);
  CHECK_FALSE(readable_within(client.get(), 0));
}

}  // namespace
}  // namespace hopbench
