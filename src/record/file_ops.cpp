#include "record/file_ops.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <cerrno>

namespace hopbench {
namespace {

class SystemFileOps final : public FileOps {
 public:
  int open_new(const std::string& path) override {
    const int flags = O_WRONLY | O_APPEND | O_CLOEXEC;
    const int made = ::open(path.c_str(), flags | O_CREAT | O_EXCL, 0644);
    if (made >= 0) return made;
    if (errno != EEXIST) return -errno;
    struct stat there {};
    if (::stat(path.c_str(), &there) != 0) return -errno;
    if (S_ISREG(there.st_mode) && there.st_size != 0) return -EEXIST;
    const int opened = ::open(path.c_str(), flags);
    return opened >= 0 ? opened : -errno;
  }

  std::ptrdiff_t write(int file, std::span<const std::uint8_t> bytes) override {
    const ssize_t written = ::write(file, bytes.data(), bytes.size());
    return written >= 0 ? written : -errno;
  }

  // A file that cannot be synced by its nature (a device, a pipe) is none the worse for it.
  int sync(int file) override { return ::fdatasync(file) == 0 || errno == EINVAL ? 0 : -errno; }

  int close(int file) override { return ::close(file) == 0 ? 0 : -errno; }
};

}  // namespace

FileOps& system_file_ops() {
  static SystemFileOps ops;
  return ops;
}

}  // namespace hopbench
