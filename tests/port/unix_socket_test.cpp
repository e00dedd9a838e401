// A client over AF_UNIX. Nothing here asserts how fast it is.
#include "port/unix_socket.h"

#include <fcntl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>

#include <algorithm>
#include <fstream>

#include "fixtures.h"

namespace hopbench {
namespace {

namespace fs = std::filesystem;
using Bytes = std::vector<std::uint8_t>;

std::unique_ptr<SocketPort> open_socket(const std::string& path) {
  auto made = SocketPort::open(path);
  if (const auto* error = std::get_if<PortError>(&made)) FAIL(error->what);
  return std::move(std::get<std::unique_ptr<SocketPort>>(made));
}

std::string refusal_of(const std::string& path) {
  auto made = SocketPort::open(path);
  const auto* error = std::get_if<PortError>(&made);
  return error != nullptr ? error->what : "";
}

sockaddr_un address_of(const std::string& path) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  std::copy(path.begin(), path.end(), address.sun_path);
  return address;
}

/// A socket file with nobody behind it, as a bench leaves it that was killed.
void leave_behind(const std::string& path, int kind = SOCK_STREAM) {
  const FileDescriptor dead(socket(AF_UNIX, kind | SOCK_CLOEXEC, 0));
  const auto address = address_of(path);
  REQUIRE(bind(dead.get(), reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
}

/// Reads until there is nothing to do any more, as the loop does when the descriptor is readable.
PortRead read_all(SocketPort& port) {
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

TEST_CASE("a socket is there for its owner only, and goes away with the port") {
  const Folder folder;
  const auto path = folder / "chain";
  const mode_t before = umask(0);
  auto port = open_socket(path);
  umask(before);
  struct stat status {};
  REQUIRE(lstat(path.c_str(), &status) == 0);
  CHECK(S_ISSOCK(status.st_mode));
  CHECK((status.st_mode & 07777U) == 0600U);
  port.reset();
  CHECK(lstat(path.c_str(), &status) != 0);
}

TEST_CASE("bytes go both ways through a socket") {
  const Folder folder;
  const auto port = open_socket(folder / "chain");
  CHECK_FALSE(port->somebody_there());
  const auto client = connect_to(folder / "chain");
  REQUIRE(readable_within(port->descriptor(), patience_ms));
  read_all(*port);
  CHECK(port->somebody_there());
  const Bytes sent{0x00, 0x0a, 0x11, 0x13, 0xff, 0x04};
  write_bytes(client.get(), sent);
  CHECK(read_all(*port).bytes == sent);
  REQUIRE(port->write(sent) == static_cast<std::ptrdiff_t>(sent.size()));
  CHECK(read_bytes(client.get(), sent.size()) == sent);
  CHECK_FALSE(port->paced());
}

TEST_CASE("the next client is served when the first has gone, and is told to wait") {
  const Folder folder;
  const auto port = open_socket(folder / "chain");
  auto first = connect_to(folder / "chain");
  read_all(*port);
  CHECK(port->take_note().empty());
  const auto second = connect_to(folder / "chain");
  write_bytes(second.get(), Bytes{2});
  write_bytes(first.get(), Bytes{1});
  CHECK(read_all(*port).bytes == Bytes{1});
  CHECK(port->take_note().find("one at a time") != std::string::npos);
  CHECK(port->take_note().empty());
  first.reset();
  const PortRead next = read_all(*port);
  CHECK(next.left);
  CHECK(next.bytes == Bytes{2});
  const Bytes answer{3};
  REQUIRE(port->write(answer) == 1);
  CHECK(read_bytes(second.get(), 1) == answer);
}

TEST_CASE("what a client sent before it closed is read before it is let go") {
  const Folder folder;
  const auto port = open_socket(folder / "chain");
  auto client = connect_to(folder / "chain");
  write_bytes(client.get(), Bytes(5000, 0x55));
  client.reset();
  const PortRead all = read_all(*port);
  // The rest of what was too much for one read needs no further telling, but reading.
  PortRead rest;
  while (port->somebody_there()) REQUIRE(port->read(rest, 4096));
  CHECK(all.bytes.size() + rest.bytes.size() == 5000);
  CHECK((all.left || rest.left));
  CHECK_FALSE(readable_within(port->descriptor(), 0));
}

TEST_CASE("a client that has ended its sending side still gets its answer") {
  const Folder folder;
  const auto port = open_socket(folder / "chain");
  const auto client = connect_to(folder / "chain");
  write_bytes(client.get(), Bytes{1});
  REQUIRE(shutdown(client.get(), SHUT_WR) == 0);
  CHECK(read_all(*port).bytes == Bytes{1});
  CHECK(port->somebody_there());
  const Bytes answer{7, 8};
  REQUIRE(port->write(answer) == 2);
  CHECK(read_bytes(client.get(), 2) == answer);
}

TEST_CASE("a client of a socket that is far ahead is not waited for, even if it has left") {
  const Folder folder;
  const auto port = open_socket(folder / "chain");
  auto client = connect_to(folder / "chain");
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
  PortRead intake;
  REQUIRE(port->read(intake, 4096));
  CHECK(intake.bytes == Bytes{1, 2, 3});
}

TEST_CASE("a client that does not fetch its answers makes the port wait for room") {
  const Folder folder;
  const auto port = open_socket(folder / "chain");
  const auto client = connect_to(folder / "chain");
  read_all(*port);
  const Bytes block(4096, 0x5a);
  std::size_t taken = 0;
  for (int turn = 0; turn < 10'000; ++turn) {
    const auto now = port->write(block);
    REQUIRE(now >= 0);
    taken += static_cast<std::size_t>(now);
    if (now == 0) break;
  }
  REQUIRE(port->write(block) == 0);
  port->watch(true, true);
  CHECK_FALSE(readable_within(port->descriptor(), 0));
  CHECK(read_bytes(client.get(), taken).size() == taken);
  CHECK(readable_within(port->descriptor(), patience_ms));
  CHECK(port->write(block) == static_cast<std::ptrdiff_t>(block.size()));
}

TEST_CASE("writing to a client that has just gone harms nobody") {
  const Folder folder;
  const auto port = open_socket(folder / "chain");
  auto client = connect_to(folder / "chain");
  read_all(*port);
  client.reset();
  const Bytes answer{1, 2};
  CHECK(port->write(answer) == 0);  // a closed pipe would end the program if it raised its signal
  CHECK(read_all(*port).left);
  CHECK_FALSE(port->somebody_there());
}

TEST_CASE("nothing but the socket of a dead bench is replaced") {
  const Folder folder;
  const auto path = folder / "chain";
  SECTION("a file stays as it is") {
    std::ofstream(path) << "precious";
    CHECK(refusal_of(path) == path + ": exists and is no socket of an earlier run; give a path that is free");
    std::string text;
    std::ifstream(path) >> text;
    CHECK(text == "precious");
  }
  SECTION("a folder stays") {
    fs::create_directory(path);
    CHECK_FALSE(refusal_of(path).empty());
    CHECK(fs::is_directory(path));
  }
  SECTION("a link stays, even to a dead socket") {
    leave_behind(folder / "elsewhere");
    fs::create_symlink(folder / "elsewhere", path);
    CHECK_FALSE(refusal_of(path).empty());
    CHECK(fs::is_symlink(fs::symlink_status(path)));
  }
  SECTION("a socket in use stays, and its bench is not disturbed") {
    const auto other = open_socket(path);
    const auto client = connect_to(path);
    read_all(*other);
    CHECK(refusal_of(path) == path + ": in use by another program; give a path that is free");
    write_bytes(client.get(), Bytes{1});
    CHECK(read_all(*other).bytes == Bytes{1});
  }
  SECTION("a socket of another kind stays while somebody has it") {
    const FileDescriptor other(socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0));
    const auto address = address_of(path);
    REQUIRE(bind(other.get(), reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
    CHECK_FALSE(refusal_of(path).empty());
    CHECK(fs::exists(path));
  }
  SECTION("a socket with nobody behind it is replaced") {
    leave_behind(path);
    const auto port = open_socket(path);
    const auto client = connect_to(path);
    read_all(*port);
    CHECK(port->somebody_there());
  }
  SECTION("a folder that is not there gives one line") {
    CHECK(refusal_of(folder / "no/such/socket") == folder / "no/such/socket" + ": No such file or directory");
  }
}

TEST_CASE("a path too long for a socket is refused with what would do") {
  const Folder folder;
  const std::string path = folder / std::string(200, 'x').c_str();
  CHECK(refusal_of(path).find("at most 107 characters") != std::string::npos);
}

TEST_CASE("a socket that somebody has put in the place of ours is left alone") {
  const Folder folder;
  const auto path = folder / "chain";
  auto port = open_socket(path);
  fs::remove(path);
  const auto other = open_socket(path);
  port.reset();
  CHECK(fs::exists(path));
}

}  // namespace
}  // namespace hopbench
