// What the writer asks of the operating system, as an interface: tests stand in for a full disk.
#pragma once

#include <cerrno>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

namespace hopbench {

/// Each call returns what the system call of that name returns, or minus its errno. No call throws. What has a body
/// here is what a file in memory needs not care about.
class FileOps {
 public:
  virtual ~FileOps() = default;
  /// Opens for appending (O_APPEND, O_CLOEXEC) and creates. A regular file that holds something already is not
  /// touched: -EEXIST.
  virtual int open_new(const std::string& path) = 0;
  virtual std::ptrdiff_t write(int file, std::span<const std::uint8_t> bytes) = 0;
  virtual int sync(int file) = 0;
  virtual int close(int file) = 0;
  /// Keeps room on the disk for the file's bytes [from, to), which it need not have yet; its size stays as it is. 0:
  /// writes up to there do not fail for want of room. -ENOSPC, -EDQUOT, -EFBIG: there is none. Anything else: rooms are
  /// not kept there.
  virtual int reserve(int file, std::uint64_t from, std::uint64_t to) {
    (void)file;
    (void)from;
    (void)to;
    return -EOPNOTSUPP;
  }
  /// Gives back what was kept beyond the file's size.
  virtual void give_back(int file) { (void)file; }
  /// Syncs the directory in which `path` lies: only then a file made there is sure to be found after a power cut.
  virtual int sync_directory(const std::string& path) {
    (void)path;
    return 0;
  }
  virtual int remove(const std::string& path) {
    (void)path;
    return 0;
  }

  enum class PathUse : std::uint8_t {
    free,  // nothing, or an empty file
    used,  // a regular file that holds something
    other  // a device, a pipe
  };
  virtual PathUse path_use(const std::string& path) {
    (void)path;
    return PathUse::free;
  }
};

/// The real ones.
FileOps& system_file_ops();

}  // namespace hopbench
