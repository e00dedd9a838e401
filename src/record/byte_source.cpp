#include "record/byte_source.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>

namespace hopbench {
namespace {

class FileSource final : public ByteSource {
 public:
  explicit FileSource(int file) : file_(file) {}
  ~FileSource() override { ::close(file_); }
  FileSource(const FileSource&) = delete;
  FileSource& operator=(const FileSource&) = delete;

  std::size_t read(std::uint64_t position, std::span<std::uint8_t> to) override {
    std::size_t done = 0;
    while (done < to.size()) {
      const ssize_t result = ::pread(file_, to.data() + done, to.size() - done, static_cast<off_t>(position + done));
      if (result < 0 && errno == EINTR) continue;
      if (result <= 0) break;
      done += static_cast<std::size_t>(result);
    }
    return done;
  }

  std::uint64_t size() override {
    struct stat now {};
    return ::fstat(file_, &now) == 0 && now.st_size > 0 ? static_cast<std::uint64_t>(now.st_size) : 0;
  }

 private:
  int file_;
};

}  // namespace

std::unique_ptr<ByteSource> open_file(const std::string& path, std::string& why) {
  // Not blocking: opening a pipe that nobody writes to would wait for ever.
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  if (file < 0) {
    why = std::strerror(errno);
    return nullptr;
  }
  auto source = std::make_unique<FileSource>(file);
  struct stat info {};
  if (::fstat(file, &info) != 0 || !S_ISREG(info.st_mode)) {
    why = "it is no regular file";
    return nullptr;
  }
  return source;
}

std::size_t MemorySource::read(std::uint64_t position, std::span<std::uint8_t> to) {
  if (position >= bytes_.size()) return 0;
  const auto count = std::min<std::size_t>(to.size(), bytes_.size() - static_cast<std::size_t>(position));
  std::copy_n(bytes_.begin() + static_cast<std::ptrdiff_t>(position), count, to.begin());
  return count;
}

}  // namespace hopbench
