#include "record/file_ops.h"

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>
#include <cerrno>

#include "record/new_file.h"

namespace hopbench {
namespace {

class SystemFileOps final : public FileOps {
 public:
  int open_new(const std::string& path) override { return open_new_file(path); }

  std::ptrdiff_t write(int file, std::span<const std::uint8_t> bytes) override {
    const ssize_t written = ::write(file, bytes.data(), bytes.size());
    return written >= 0 ? written : -errno;
  }

  // A file that cannot be synced by its nature (a device, a pipe) is none the worse for it.
  int sync(int file) override { return ::fdatasync(file) == 0 || errno == EINVAL ? 0 : -errno; }

  int reserve(int file, std::uint64_t from, std::uint64_t to) override {
    struct rlimit limit {};
    // Room that is kept beyond what a file may have is of no use.
    if (::getrlimit(RLIMIT_FSIZE, &limit) == 0 && limit.rlim_cur != RLIM_INFINITY && to > limit.rlim_cur) return -EFBIG;
    while (::fallocate(file, FALLOC_FL_KEEP_SIZE, static_cast<off_t>(from), static_cast<off_t>(to - from)) != 0) {
      if (errno != EINTR) return -errno;
    }
    return 0;
  }

  void give_back(int file) override {
    struct stat now {};
    if (::fstat(file, &now) == 0 && ::ftruncate(file, now.st_size) != 0) return;  // it stays allocated, and unseen
  }

  int close(int file) override { return ::close(file) == 0 ? 0 : -errno; }

  int sync_directory(const std::string& path) override { return -sync_directory_of(path); }

  int remove(const std::string& path) override { return ::unlink(path.c_str()) == 0 ? 0 : -errno; }

  PathUse path_use(const std::string& path) override {
    struct stat there {};
    if (::lstat(path.c_str(), &there) != 0) return PathUse::free;
    const bool link = S_ISLNK(there.st_mode);
    if (link && ::stat(path.c_str(), &there) != 0) return PathUse::used;
    if (!S_ISREG(there.st_mode)) return PathUse::other;
    if (link) return PathUse::used;
    return there.st_size != 0 ? PathUse::used : PathUse::free;
  }
};

}  // namespace

FileOps& system_file_ops() {
  static SystemFileOps ops;
  return ops;
}

}  // namespace hopbench
