// A Unix stream socket at a path, for programs on this computer to connect to.
#pragma once

#include <sys/types.h>

#include <memory>
#include <string>
#include <variant>

#include "port/byte_port.h"
#include "port/file_descriptor.h"

namespace hopbench {

class UnixListener {
 public:
  /// Makes the socket file, for its owner only. A socket file with nobody behind it is replaced, nothing else.
  static std::variant<std::unique_ptr<UnixListener>, PortError> open(const std::string& path);
  /// Takes the file away again, if it is still ours.
  ~UnixListener();
  UnixListener(const UnixListener&) = delete;
  UnixListener& operator=(const UnixListener&) = delete;

  /// Readable when somebody has connected. take() never blocks.
  [[nodiscard]] int descriptor() const { return listener_.get(); }
  /// Who has connected first; not valid if there is nobody. `blocks`: reading from it and writing to it do.
  [[nodiscard]] FileDescriptor take(bool blocks);

 private:
  UnixListener() = default;

  FileDescriptor listener_;
  std::string path_;  // "" until it has been made
  dev_t device_ = 0;  // of the file
  ino_t inode_ = 0;
};

}  // namespace hopbench
