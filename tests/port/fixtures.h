// A folder of its own for each test, and waiting on a descriptor with a deadline instead of sleeping.
#pragma once

#include <poll.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "port/file_descriptor.h"
#include "support/catch.h"

namespace hopbench {

class Folder {
 public:
  Folder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "hopbench-test-XXXXXX").string();
    REQUIRE(mkdtemp(pattern.data()) != nullptr);
    path_ = pattern;
  }
  ~Folder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string operator/(const char* name) const { return (path_ / name).string(); }

 private:
  std::filesystem::path path_;
};

inline constexpr int patience_ms = 10'000;  // only ever used up by a failure

/// Reads exactly `size` bytes, or fewer if they do not come.
inline std::vector<std::uint8_t> read_bytes(int fd, std::size_t size) {
  std::vector<std::uint8_t> bytes;
  while (bytes.size() < size) {
    pollfd waiting{fd, POLLIN, 0};
    if (poll(&waiting, 1, patience_ms) <= 0) break;
    std::vector<std::uint8_t> buffer(size - bytes.size());
    const ssize_t got = ::read(fd, buffer.data(), buffer.size());
    if (got <= 0) break;
    bytes.insert(bytes.end(), buffer.begin(), buffer.begin() + got);
  }
  return bytes;
}

inline void write_bytes(int fd, std::span<const std::uint8_t> bytes) {
  REQUIRE(::write(fd, bytes.data(), bytes.size()) == static_cast<ssize_t>(bytes.size()));
}

/// A client of the socket at `path`.
inline FileDescriptor connect_to(const std::string& path) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  REQUIRE(path.size() < sizeof address.sun_path);
  std::copy(path.begin(), path.end(), address.sun_path);
  FileDescriptor client(socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
  REQUIRE(connect(client.get(), reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
  return client;
}

inline bool readable_within(int fd, int milliseconds) {
  pollfd waiting{fd, POLLIN, 0};
  return poll(&waiting, 1, milliseconds) == 1 && (waiting.revents & POLLIN) != 0;
}

}  // namespace hopbench
