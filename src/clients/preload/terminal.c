#include "terminal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include "bench.h"
#include "caught.h"
#include "settings.h"
#include "terminal_input.h"

/* As many as the kernel keeps for a serial port; who waits for room is woken when few are left. A common UART has taken
 * 16 of them, which nobody takes back. */
enum { MOST_UNSENT = 4095, FEW_UNSENT = 256, IN_UART = 16 };
static const uint64_t TENTH = 100000000U; /* of a second: what VTIME counts */

static int descriptor = -1;
static int other_end = -1;
static int flags;
static uint64_t sending_from; /* when what is being sent began, without a pause */
static uint64_t sending;      /* characters since then */

const char* terminal_name(void) { return getenv("HOPBENCH_TIME_TTY"); }
int terminal_has_name(const char* path) { return path != NULL && strcmp(path, terminal_name()) == 0; }
int terminal_is(int fd) { return fd >= 0 && fd == descriptor; }
int* terminal_flags(void) { return &flags; }

int terminal_needs(int fd) {
  const char* bench_fd = getenv("HOPBENCH_TIME_FD");
  return fd >= 0 && (fd == other_end || (bench_fd != NULL && fd == atoi(bench_fd)));
}

/* A pseudo-terminal's two ends. */
static int make_ends(int open_flags) {
  char name[64];
  REAL(open);
  REAL(close);
  other_end = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
  if (other_end < 0) return -1;
  if (grantpt(other_end) == 0 && unlockpt(other_end) == 0 && ptsname_r(other_end, name, sizeof name) == 0) {
    descriptor = real_open(name, (open_flags & (O_NONBLOCK | O_CLOEXEC)) | O_RDWR | O_NOCTTY);
  }
  if (descriptor >= 0) return 0;
  (void)real_close(other_end);
  other_end = -1;
  return -1;
}

int terminal_open(int open_flags) {
  if (descriptor >= 0) refuse("open", "the terminal is open already, and can be had once at a time");
  if (bench_over()) {
    errno = EIO;
    return -1;
  }
  if (make_ends(open_flags) != 0) return -1;
  flags = open_flags;
  settings_changed();
  terminal_forget_input();
  return descriptor;
}

int terminal_close(void) {
  REAL(close);
  int strays = 0;
  (void)terminal_drain();
  if (ioctl(other_end, FIONREAD, &strays) == 0 && strays > 0) {
    refuse("close", "characters were written to the terminal by a call that is not caught");
  }
  (void)real_close(other_end);
  const int result = real_close(descriptor);
  descriptor = other_end = -1;
  return result;
}

void terminal_forget_input(void) {
  if (!bench_over()) hopbench_time_flush(bench());
  input_clear();
}

int terminal_flush(int which) {
  if (which != TCIFLUSH && which != TCOFLUSH && which != TCIOFLUSH) {
    errno = EINVAL;
    return -1;
  }
  if (which != TCIFLUSH && terminal_unsent() > IN_UART) {
    refuse("tcflush", "it would take back characters that are on their way: wait until they are sent, or use TCIFLUSH");
  }
  if (which != TCOFLUSH) terminal_forget_input();
  return 0;
}

/* ---- in -----------------------------------------------------------------------------------------------------------
 */

static void receive(void) {
  hopbench_char heard;
  while (hopbench_time_take(bench(), &heard) == 1) input_add(&heard);
}

size_t terminal_there(void) {
  if (bench_tell() == 0 && !bench_over()) receive();
  return input_size();
}

size_t terminal_look(void) {
  if (terminal_there() == 0) bench_look();
  return input_size();
}

size_t terminal_least(void) {
  return settings.chars[VTIME] == 0 && settings.chars[VMIN] > 0 ? settings.chars[VMIN] : 1;
}

int terminal_await(size_t count, uint64_t until, uint64_t between) {
  (void)terminal_there();
  uint64_t last = bench_now();
  while (!bench_over()) {
    const size_t there = input_size();
    uint64_t deadline = until;
    if (there > 0 && between < HOPBENCH_TIME_NEVER - last && last + between < until) deadline = last + between;
    if (there >= count || bench_now() >= deadline) return 0;
    if (bench_wait(deadline, (uint32_t)(count - there), between) != 0) return -1;
    receive();
    if (input_size() > there) last = input_last();
  }
  return -1;
}

/* How a blocking read waits. 0, or -1 as read() gives it. */
static int wait_for(size_t count) {
  const size_t least = settings.chars[VMIN];
  const uint64_t time = settings.chars[VTIME] * TENTH;
  int ended = 0;
  if (least > 0) {
    ended = terminal_await(least < count ? least : count, HOPBENCH_TIME_NEVER, time > 0 ? time : HOPBENCH_TIME_NEVER);
  } else if (time > 0) {
    ended = terminal_await(1, bench_after(time), HOPBENCH_TIME_NEVER);
  }
  if (ended == 0 || input_size() > 0) return 0;
  errno = EINTR;
  return -1;
}

ssize_t terminal_read(unsigned char* into, size_t count) {
  if ((flags & O_ACCMODE) == O_WRONLY) {
    errno = EBADF;
    return -1;
  }
  if (bench_over()) return (ssize_t)input_take(into, count); /* then nothing: hung up */
  settings_fit("read");
  if (count == 0) return 0;
  const int waits = settings.chars[VMIN] > 0 || settings.chars[VTIME] > 0;
  const int blocks = (flags & O_NONBLOCK) == 0;
  if (waits && blocks) {
    if (wait_for(count) != 0) return -1;
  } else if (terminal_look() == 0) {
    if (!waits) return 0;
    errno = EAGAIN;
    return -1;
  }
  return (ssize_t)input_take(into, count);
}

/* ---- out ----------------------------------------------------------------------------------------------------------
 */

/* When so many of the characters that are being sent are on the wire as a whole. */
static uint64_t end_of(uint64_t count) {
  const hopbench_line* line = hopbench_time_line(bench());
  const uint64_t half_bits =
      2U * (1U + line->data_bits + (line->parity != 0 ? 1U : 0U)) + (uint64_t)line->stop_half_bits;
  return sending_from + (count * half_bits * 500000000U + line->baud - 1) / line->baud;
}

static uint64_t sent_at(void) { return end_of(sending); }

size_t terminal_unsent(void) {
  if (bench_over()) return 0;
  const uint64_t now = bench_now();
  const uint64_t end = sent_at();
  const uint64_t char_time = hopbench_time_line(bench())->char_time;
  return end > now ? (size_t)((end - now + char_time - 1) / char_time) : 0;
}

uint64_t terminal_writable_at(void) {
  return terminal_unsent() < MOST_UNSENT ? bench_now() : end_of(sending - FEW_UNSENT);
}

int terminal_drain(void) { return terminal_unsent() > 0 ? bench_sleep_until(sent_at()) : 0; }

static void send_now(const unsigned char* bytes, size_t count) {
  if (sent_at() <= bench_now()) {
    sending_from = bench_now();
    sending = 0;
  }
  sending += count;
  if (hopbench_time_write(bench(), bytes, count) < 0) refuse("write", hopbench_time_error(bench()));
}

ssize_t terminal_write(const unsigned char* bytes, size_t count) {
  if ((flags & O_ACCMODE) == O_RDONLY || bench_over()) {
    errno = bench_over() ? EIO : EBADF;
    return -1;
  }
  settings_fit("write");
  size_t written = 0;
  while (written < count) {
    const size_t unsent = terminal_unsent();
    const size_t room = unsent < MOST_UNSENT ? MOST_UNSENT - unsent : 0;
    const size_t size = count - written < room ? count - written : room;
    if (size > 0) {
      send_now(bytes + written, size);
      written += size;
    } else if ((flags & O_NONBLOCK) != 0) {
      bench_look();
      break;
    } else if (bench_sleep_until(terminal_writable_at()) != 0) {
      break;
    }
  }
  if (written > 0 || count == 0) return (ssize_t)written;
  errno = bench_over() ? EIO : EAGAIN;
  return -1;
}
