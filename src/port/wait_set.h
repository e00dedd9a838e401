// Several descriptors behind one: it is readable when any of them has what is waited for.
#pragma once

#include <cstdint>
#include <vector>

#include "port/file_descriptor.h"

namespace hopbench {

/// Takes no part in reading or writing: what is ready is found out by trying.
class WaitSet {
 public:
  WaitSet();
  /// False if the system gave none; errno tells why.
  [[nodiscard]] bool valid() const { return epoll_.valid(); }
  [[nodiscard]] int descriptor() const { return epoll_.get(); }

  /// Waits for bytes to read from `fd`, for room to write to it, or for neither; for a hang-up in any case.
  void watch(int fd, bool input, bool room);
  /// To be called before `fd` is closed.
  void forget(int fd);

 private:
  struct Member {
    int fd;
    std::uint32_t events;
  };
  FileDescriptor epoll_;
  std::vector<Member> members_;
};

}  // namespace hopbench
