/* The functions of <termios.h>, and what else asks whether a descriptor is a terminal. */
#include <termios.h>

#include <errno.h>
#include <stddef.h>
#include <string.h>
#include <unistd.h>

#include "bench.h"
#include "caught.h"
#include "settings.h"
#include "terminal.h"

CAUGHT int tcgetattr(int fd, struct termios* into) {
  REAL(tcgetattr);
  if (!terminal_is(fd)) return real_tcgetattr(fd, into);
  memset(into, 0, sizeof *into);
  into->c_iflag = settings.input;
  into->c_oflag = settings.output;
  into->c_cflag = settings.control;
  into->c_lflag = settings.local;
  into->c_line = settings.discipline;
  memcpy(into->c_cc, settings.chars, sizeof settings.chars);
  into->c_ispeed = into->c_ospeed = settings.control & CBAUD;
  return 0;
}

CAUGHT int tcsetattr(int fd, int when, const struct termios* from) {
  REAL(tcsetattr);
  if (!terminal_is(fd)) return real_tcsetattr(fd, when, from);
  if (when != TCSANOW && when != TCSADRAIN && when != TCSAFLUSH) {
    errno = EINVAL;
    return -1;
  }
  if (when != TCSANOW && terminal_drain() != 0) {
    errno = EINTR;
    return -1;
  }
  if (when == TCSAFLUSH) terminal_forget_input();
  settings.input = from->c_iflag;
  settings.output = from->c_oflag;
  settings.control = from->c_cflag;
  settings.local = from->c_lflag;
  settings.discipline = from->c_line;
  memcpy(settings.chars, from->c_cc, sizeof settings.chars);
  settings_changed();
  return 0;
}

CAUGHT int tcflush(int fd, int which) {
  REAL(tcflush);
  return terminal_is(fd) ? terminal_flush(which) : real_tcflush(fd, which);
}

CAUGHT int tcdrain(int fd) {
  REAL(tcdrain);
  if (!terminal_is(fd)) return real_tcdrain(fd);
  if (terminal_drain() == 0) return 0;
  errno = EINTR;
  return -1;
}

CAUGHT int tcsendbreak(int fd, int length) {
  REAL(tcsendbreak);
  if (terminal_is(fd)) refuse("tcsendbreak", "the bench has no way to send a break");
  return real_tcsendbreak(fd, length);
}

CAUGHT int tcflow(int fd, int what) {
  REAL(tcflow);
  if (terminal_is(fd)) refuse("tcflow", "the line has no flow control");
  return real_tcflow(fd, what);
}

CAUGHT int isatty(int fd) {
  REAL(isatty);
  return terminal_is(fd) ? 1 : real_isatty(fd);
}

CAUGHT int ttyname_r(int fd, char* into, size_t size) {
  REAL(ttyname_r);
  if (!terminal_is(fd)) return real_ttyname_r(fd, into, size);
  if (strlen(terminal_name()) >= size) return ERANGE;
  strcpy(into, terminal_name());
  return 0;
}

CAUGHT char* ttyname(int fd) {
  static char name[256];
  REAL(ttyname);
  if (!terminal_is(fd)) return real_ttyname(fd);
  errno = ttyname_r(fd, name, sizeof name);
  return errno == 0 ? name : NULL;
}
