#include "record/ack_lines.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>

#include "record/byte_size.h"
#include "support/catch.h"

using namespace hopbench;

namespace {

/// A pair of descriptors: what is written to `in` can be read from `out`.
struct Ends {
  int out = -1;
  int in = -1;
  explicit Ends(bool socket) {
    std::array<int, 2> ends{};
    REQUIRE((socket ? ::socketpair(AF_UNIX, SOCK_STREAM, 0, ends.data()) : ::pipe(ends.data())) == 0);
    out = ends[0];
    in = ends[1];
  }
  ~Ends() {
    if (out >= 0) ::close(out);
    ::close(in);
  }
  Ends(const Ends&) = delete;
  Ends& operator=(const Ends&) = delete;

  /// All that is there.
  std::string read() const {
    std::string text;
    pollfd waiting{out, POLLIN, 0};
    while (::poll(&waiting, 1, 0) > 0 && (waiting.revents & POLLIN) != 0) {
      std::array<char, 4096> buffer;
      const auto size = ::read(out, buffer.data(), buffer.size());
      REQUIRE(size > 0);
      text.append(buffer.data(), static_cast<std::size_t>(size));
    }
    return text;
  }
};

}  // namespace

TEST_CASE("each number is told on a line of its own") {
  for (const bool socket : {false, true}) {
    const Ends ends(socket);
    AckLines lines(ends.in);
    lines.written(12);
    lines.written(30);
    lines.synced(30);
    CHECK(ends.read() == "written 12\nwritten 30\nsynced 30\n");
    CHECK((::fcntl(ends.in, F_GETFL) & O_NONBLOCK) == 0);
  }
}

TEST_CASE("nobody waits for whoever does not read, and the newest number comes when there is room") {
  for (const bool socket : {false, true}) {
    CAPTURE(socket);
    const Ends ends(socket);
    AckLines lines(ends.in);
    constexpr std::uint64_t many = 500'000;  // lines; no pipe or socket has room for them by default
    for (std::uint64_t i = 1; i <= many; ++i) lines.written(i);
    lines.synced(7);
    const std::string first = ends.read();
    CHECK(first.substr(0, 20) == "written 1\nwritten 2\n");
    CHECK(first.find("written 500000\n") == std::string::npos);
    lines.finish();
    const std::string rest = ends.read();
    CHECK(rest.find("written 500000\nsynced 7\n") != std::string::npos);
    // Every line is whole, and the numbers go up.
    std::string all = first + rest;
    std::uint64_t last = 0;
    while (all.rfind("written ", 0) == 0) {
      const auto end = all.find('\n');
      const auto number = std::stoull(all.substr(8, end - 8));
      REQUIRE(number > last);
      last = number;
      all.erase(0, end + 1);
    }
    CHECK(all == "synced 7\n");
  }
}

TEST_CASE("a reader that went away ends the lines and nothing else") {
  for (const bool socket : {false, true}) {
    Ends ends(socket);
    AckLines lines(ends.in);
    ::close(ends.out);
    ends.out = -1;
    lines.written(1);
    lines.synced(1);
    lines.finish();
  }
}

TEST_CASE("descriptors that cannot be told anything are found out beforehand") {
  const Ends ends(false);
  CHECK(AckLines::trouble_with(ends.in) == 0);
  CHECK(AckLines::trouble_with(ends.out) == EACCES);
  CHECK(AckLines::trouble_with(-1) == EBADF);
  CHECK(AckLines::trouble_with(987) == EBADF);
}

TEST_CASE("sizes as people write them") {
  CHECK(parse_byte_size("256MB") == 256'000'000);
  CHECK(parse_byte_size("1.5 GB") == 1'500'000'000);
  CHECK(parse_byte_size("64KiB") == 65'536);
  CHECK(parse_byte_size("2 GiB") == std::uint64_t{1} << 31U);
  CHECK(parse_byte_size("1.001kB") == 1001);
  CHECK(parse_byte_size("0.5MiB") == 524'288);
  CHECK(parse_byte_size("17B") == 17);
  CHECK(parse_byte_size("0kB") == 0);
  CHECK(parse_byte_size("4000000GB") == 4'000'000'000'000'000);
  for (const auto* text : {"",
                           "MB",
                           "256",
                           "256mb",
                           "256Mb",
                           "-1MB",
                           "+1MB",
                           "1,5MB",
                           "1.MB",
                           ".5MB",
                           "1.0001MB",
                           "1  MB",
                           "1MB ",
                           " 1MB",
                           "0.5B",
                           "1e3MB",
                           "0x10MB",
                           "1MB2",
                           "99999999999999999MB",
                           "9999999999999999GB",
                           "5000000GB"}) {
    CAPTURE(text);
    CHECK_FALSE(parse_byte_size(text));
  }
}
