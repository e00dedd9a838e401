/* Calls that take a path or a descriptor: those that mean the terminal are answered here, all others go on. */
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <sys/uio.h>
#include <unistd.h>

#include "caught.h"
#include "terminal.h"

/* ---- opening ------------------------------------------------------------------------------------------------------
 */

static mode_t mode_of(int flags, va_list more) {
  return (flags & O_CREAT) != 0 || (flags & O_TMPFILE) == O_TMPFILE ? va_arg(more, mode_t) : 0;
}

#define OPEN(name)                                            \
  CAUGHT int name(const char* path, int flags, ...) {         \
    va_list more;                                             \
    REAL(name);                                               \
    if (terminal_has_name(path)) return terminal_open(flags); \
    va_start(more, flags);                                    \
    const mode_t mode = mode_of(flags, more);                 \
    va_end(more);                                             \
    return real_##name(path, flags, mode);                    \
  }
OPEN(open)
OPEN(open64)

#define OPEN_AT(name)                                             \
  CAUGHT int name(int folder, const char* path, int flags, ...) { \
    va_list more;                                                 \
    REAL(name);                                                   \
    if (terminal_has_name(path)) return terminal_open(flags);     \
    va_start(more, flags);                                        \
    const mode_t mode = mode_of(flags, more);                     \
    va_end(more);                                                 \
    return real_##name(folder, path, flags, mode);                \
  }
OPEN_AT(openat)
OPEN_AT(openat64)

/* What programs built with checks of sizes call. */
CAUGHT int __open_2(const char* path, int flags) { return open(path, flags); }
CAUGHT int __open64_2(const char* path, int flags) { return open64(path, flags); }
CAUGHT int __openat_2(int folder, const char* path, int flags) { return openat(folder, path, flags); }
CAUGHT int __openat64_2(int folder, const char* path, int flags) { return openat64(folder, path, flags); }

static const char streams[] = "streams read and write the terminal without being seen: use open, read and write";

#define OPEN_STREAM(name)                                                   \
  CAUGHT FILE* name(const char* restrict path, const char* restrict mode) { \
    REAL(name);                                                             \
    if (terminal_has_name(path)) refuse(#name, streams);                    \
    return real_##name(path, mode);                                         \
  }
OPEN_STREAM(fopen)
OPEN_STREAM(fopen64)

CAUGHT FILE* fdopen(int fd, const char* mode) {
  REAL(fdopen);
  if (terminal_is(fd)) refuse("fdopen", streams);
  return real_fdopen(fd, mode);
}

CAUGHT int vdprintf(int fd, const char* restrict format, va_list words) {
  REAL(vdprintf);
  if (terminal_is(fd)) refuse("dprintf", streams);
  return real_vdprintf(fd, format, words);
}

CAUGHT int dprintf(int fd, const char* restrict format, ...) {
  va_list words;
  va_start(words, format);
  const int result = vdprintf(fd, format, words);
  va_end(words);
  return result;
}

/* What programs built with checks of formats call. */
CAUGHT int __vdprintf_chk(int fd, int flag, const char* restrict format, va_list words) {
  (void)flag;
  return vdprintf(fd, format, words);
}

CAUGHT int __dprintf_chk(int fd, int flag, const char* restrict format, ...) {
  va_list words;
  (void)flag;
  va_start(words, format);
  const int result = vdprintf(fd, format, words);
  va_end(words);
  return result;
}

/* ---- a descriptor -------------------------------------------------------------------------------------------------
 */

CAUGHT int close(int fd) {
  REAL(close);
  if (terminal_is(fd)) return terminal_close();
  if (!terminal_needs(fd)) return real_close(fd);
  /* A program that closes all that it did not open. */
  errno = EBADF;
  return -1;
}

static const char copies[] = "the terminal has one descriptor";

static void not_the_terminal(const char* call, int from, int to) {
  if (terminal_is(from) || terminal_is(to)) refuse(call, copies);
  if (terminal_needs(from) || terminal_needs(to)) refuse(call, "this descriptor leads to the bench");
}

CAUGHT int dup(int fd) {
  REAL(dup);
  not_the_terminal("dup", fd, -1);
  return real_dup(fd);
}

CAUGHT int dup2(int fd, int to) {
  REAL(dup2);
  not_the_terminal("dup2", fd, to);
  return real_dup2(fd, to);
}

CAUGHT int dup3(int fd, int to, int flags) {
  REAL(dup3);
  not_the_terminal("dup3", fd, to);
  return real_dup3(fd, to, flags);
}

static void see_fcntl(int fd, int command, long value) {
  if (!terminal_is(fd)) return;
  if (command == F_DUPFD || command == F_DUPFD_CLOEXEC) refuse("fcntl", copies);
  if (command == F_SETFL) *terminal_flags() = (*terminal_flags() & ~O_NONBLOCK) | ((int)value & O_NONBLOCK);
}

#define FCNTL(name)                           \
  CAUGHT int name(int fd, int command, ...) { \
    va_list more;                             \
    REAL(name);                               \
    va_start(more, command);                  \
    const long value = va_arg(more, long);    \
    va_end(more);                             \
    see_fcntl(fd, command, value);            \
    return real_##name(fd, command, value);   \
  }
FCNTL(fcntl)
FCNTL(fcntl64)

/* ---- bytes --------------------------------------------------------------------------------------------------------
 */

CAUGHT ssize_t read(int fd, void* into, size_t count) {
  REAL(read);
  return terminal_is(fd) ? terminal_read(into, count) : real_read(fd, into, count);
}

CAUGHT ssize_t __read_chk(int fd, void* into, size_t count, size_t size) {
  if (count > size) refuse("read", "the program reads more than its buffer holds");
  return read(fd, into, count);
}

CAUGHT ssize_t write(int fd, const void* bytes, size_t count) {
  REAL(write);
  return terminal_is(fd) ? terminal_write(bytes, count) : real_write(fd, bytes, count);
}

/* The terminal knows of one piece. */
enum { MOST_AT_ONCE = 4096 };

static size_t size_of(const struct iovec* parts, int count) {
  size_t size = 0;
  for (int i = 0; i < count; ++i) size += parts[i].iov_len;
  return size < MOST_AT_ONCE ? size : MOST_AT_ONCE;
}

static size_t smaller(size_t one, size_t other) { return one < other ? one : other; }

CAUGHT ssize_t readv(int fd, const struct iovec* parts, int count) {
  unsigned char piece[MOST_AT_ONCE];
  REAL(readv);
  if (!terminal_is(fd)) return real_readv(fd, parts, count);
  const ssize_t read = terminal_read(piece, size_of(parts, count));
  size_t done = 0;
  for (int i = 0; read > 0 && done < (size_t)read; ++i) {
    const size_t size = smaller(parts[i].iov_len, (size_t)read - done);
    memcpy(parts[i].iov_base, piece + done, size);
    done += size;
  }
  return read;
}

CAUGHT ssize_t writev(int fd, const struct iovec* parts, int count) {
  unsigned char piece[MOST_AT_ONCE];
  REAL(writev);
  if (!terminal_is(fd)) return real_writev(fd, parts, count);
  const size_t all = size_of(parts, count);
  size_t done = 0;
  for (int i = 0; done < all; ++i) {
    const size_t size = smaller(parts[i].iov_len, all - done);
    memcpy(piece + done, parts[i].iov_base, size);
    done += size;
  }
  return terminal_write(piece, all);
}
