// What the writer asks of the operating system, as an interface: tests stand in for a full disk.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

namespace hopbench {

/// Each call returns what the system call of that name returns, or minus its errno. No call throws.
class FileOps {
 public:
  virtual ~FileOps() = default;
  /// Opens for appending (O_APPEND, O_CLOEXEC) and creates. A regular file that holds something already is not
  /// touched: -EEXIST.
  virtual int open_new(const std::string& path) = 0;
  virtual std::ptrdiff_t write(int file, std::span<const std::uint8_t> bytes) = 0;
  virtual int sync(int file) = 0;
  virtual int close(int file) = 0;
};

/// The real ones.
FileOps& system_file_ops();

}  // namespace hopbench
