#include "record/new_file.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdio>
#include <cstring>

namespace hopbench {
namespace {

constexpr int to_append = O_WRONLY | O_APPEND | O_CLOEXEC;

bool exists(const std::string& path) {
  struct stat info {};
  return ::lstat(path.c_str(), &info) == 0;
}

/// A regular file, or nothing: no link, and no pipe that would be waited for.
bool may_be_made(const std::string& path) {
  struct stat info {};
  return ::lstat(path.c_str(), &info) != 0 || S_ISREG(info.st_mode);
}

/// 0, or an errno. A file system that knows no locks does without.
int lock(int file) {
  if (::flock(file, LOCK_EX | LOCK_NB) == 0) return 0;
  return errno == EWOULDBLOCK ? EBUSY : errno == EINTR ? EINTR : 0;
}

/// The name still leads to this file: nobody removed it, or put another in its place, before it was locked.
bool is_at(int file, const std::string& path) {
  struct stat own {};
  struct stat named {};
  return ::fstat(file, &own) == 0 && ::lstat(path.c_str(), &named) == 0 && own.st_dev == named.st_dev &&
         own.st_ino == named.st_ino;
}

/// Locked and empty, and at its name: `file`. Else it is closed: minus an errno.
int claimed(int file, const std::string& path) {
  int error = lock(file);
  struct stat info {};
  if (error == 0 && (::fstat(file, &info) != 0 || info.st_size != 0 || !is_at(file, path))) error = EEXIST;
  if (error == 0) return file;
  ::close(file);
  return -error;
}

int write_all(int file, std::span<const std::uint8_t> bytes) {
  while (!bytes.empty()) {
    const ssize_t written = ::write(file, bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written < 0) return errno;
    bytes = bytes.subspan(static_cast<std::size_t>(written));
  }
  return 0;
}

}  // namespace

bool is_device(const std::string& path) {
  struct stat there {};
  return ::stat(path.c_str(), &there) == 0 && !S_ISREG(there.st_mode) && !S_ISDIR(there.st_mode);
}

int open_new_file(const std::string& path) {
  const int made = ::open(path.c_str(), to_append | O_CREAT | O_EXCL | O_NOFOLLOW, 0644);
  if (made >= 0) return claimed(made, path);
  if (errno != EEXIST) return -errno;
  struct stat there {};
  // A link to nothing, or to a file, may have been put there by somebody else. One to a device, as /dev/stdout, is
  // fine.
  if (::stat(path.c_str(), &there) != 0) return -EEXIST;
  if (!S_ISREG(there.st_mode)) {
    const int opened = ::open(path.c_str(), to_append);
    if (opened < 0) return -errno;
    if (::fstat(opened, &there) == 0 && !S_ISREG(there.st_mode)) return opened;
    ::close(opened);
    return -EEXIST;
  }
  const int opened = ::open(path.c_str(), to_append | O_NOFOLLOW);
  if (opened < 0) return errno == ELOOP ? -EEXIST : -errno;
  return claimed(opened, path);
}

void take_over_unfinished(const std::string& path, std::string_view beginning) {
  const int file = ::open(path.c_str(), O_RDWR | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
  if (file < 0) return;
  struct stat info {};
  std::string begins(beginning.size(), '\0');
  const bool own = ::fstat(file, &info) == 0 && S_ISREG(info.st_mode) && lock(file) == 0 && is_at(file, path) &&
                   ::pread(file, begins.data(), begins.size(), 0) == static_cast<ssize_t>(begins.size()) &&
                   begins == beginning;
  // If it cannot be emptied, what comes next finds it in use and says so.
  if (own) static_cast<void>(::ftruncate(file, 0) == 0);
  ::close(file);
}

int write_new_file(const std::string& path, std::span<const std::uint8_t> bytes, bool replace) {
  if (is_device(path)) {
    const int device = open_new_file(path);
    if (device < 0) return -device;
    const int error = write_all(device, bytes);
    ::close(device);
    return error;
  }
  if (!replace && exists(path)) return EEXIST;
  const std::string unfinished = path + ".new";
  if (!may_be_made(unfinished)) return EEXIST;
  const std::size_t first = std::min<std::size_t>(bytes.size(), 8);
  take_over_unfinished(unfinished, {reinterpret_cast<const char*>(bytes.data()), first});
  const int file = open_new_file(unfinished);
  if (file < 0) return -file;
  struct stat info {};
  int error = ::fstat(file, &info) == 0 && S_ISREG(info.st_mode) ? write_all(file, bytes) : EEXIST;
  if (error == 0) {
    if (!replace) {
      error = move_to_new(unfinished, path);
    } else if (::rename(unfinished.c_str(), path.c_str()) != 0) {
      error = errno;
    }
  }
  if (error != 0 && is_at(file, unfinished)) ::unlink(unfinished.c_str());
  ::close(file);
  return error;
}

int sync_directory_of(const std::string& path) {
  std::string folder = path.substr(0, path.find_last_of('/') + 1);
  if (folder.empty()) folder = ".";
  const int directory = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  // One may write in a folder that one may not read; there is no way to sync it then.
  if (directory < 0) return errno == EACCES ? 0 : errno;
  const int error = ::fsync(directory) == 0 || errno == EINVAL ? 0 : errno;
  ::close(directory);
  return error;
}

int replace_durably(const std::string& path, std::span<const std::uint8_t> bytes) {
  const std::string unfinished = path + ".new";
  ::unlink(unfinished.c_str());  // what a killed program left there
  const int file = open_new_file(unfinished);
  if (file < 0) return -file;
  int error = write_all(file, bytes);
  if (error == 0 && ::fsync(file) != 0) error = errno;
  if (error == 0 && ::rename(unfinished.c_str(), path.c_str()) != 0) error = errno;
  if (error != 0) ::unlink(unfinished.c_str());
  ::close(file);
  if (error != 0) return error;
  return sync_directory_of(path);
}

int move_to_new(const std::string& from, const std::string& to) {
  if (::renameat2(AT_FDCWD, from.c_str(), AT_FDCWD, to.c_str(), RENAME_NOREPLACE) == 0) return 0;
  if (errno != EINVAL && errno != ENOSYS) return errno;
  // A file system that cannot promise it: look first.
  if (exists(to)) return EEXIST;
  return ::rename(from.c_str(), to.c_str()) == 0 ? 0 : errno;
}

bool is_same_file(const std::string& a, const std::string& b) {
  struct stat one {};
  struct stat two {};
  return ::stat(a.c_str(), &one) == 0 && ::stat(b.c_str(), &two) == 0 && one.st_dev == two.st_dev &&
         one.st_ino == two.st_ino;
}

std::string file_error(int error) { return error == EBUSY ? "another program is writing to it" : std::strerror(error); }

}  // namespace hopbench
