/* What serial programs ask of a terminal by ioctl(). The modem lines DTR and RTS are remembered and lead nowhere; the
 * others are off. Other requests are answered as by a terminal that has not got them. */
#include <asm/termbits.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>
#include <sys/ioctl.h>

#include "caught.h"
#include "settings.h"
#include "terminal.h"

static int modem_lines = TIOCM_DTR | TIOCM_RTS;

#define GET(into)                                                \
  do {                                                           \
    memset(into, 0, sizeof *(into));                             \
    (into)->c_iflag = settings.input;                            \
    (into)->c_oflag = settings.output;                           \
    (into)->c_cflag = settings.control;                          \
    (into)->c_lflag = settings.local;                            \
    (into)->c_line = settings.discipline;                        \
    memcpy((into)->c_cc, settings.chars, sizeof settings.chars); \
  } while (0)

#define SET(from)                                                \
  do {                                                           \
    settings.input = (from)->c_iflag;                            \
    settings.output = (from)->c_oflag;                           \
    settings.control = (from)->c_cflag;                          \
    settings.local = (from)->c_lflag;                            \
    settings.discipline = (from)->c_line;                        \
    memcpy(settings.chars, (from)->c_cc, sizeof settings.chars); \
    settings_changed();                                          \
  } while (0)

/* `when`: 0 now, 1 when all is sent, 2 then, and input is forgotten. */
static int before_setting(unsigned long when) {
  if (when > 0 && terminal_drain() != 0) {
    errno = EINTR;
    return -1;
  }
  if (when > 1) terminal_forget_input();
  return 0;
}

static int set_old(unsigned long when, const struct termios* from) {
  if (before_setting(when) != 0) return -1;
  SET(from);
  return 0;
}

static int set_new(unsigned long when, const struct termios2* from) {
  if (before_setting(when) != 0) return -1;
  SET(from);
  settings.speed = from->c_ospeed;
  return 0;
}

static int get_new(struct termios2* into) {
  GET(into);
  into->c_ispeed = into->c_ospeed = settings_speed();
  return 0;
}

static int get_old(struct termios* into) {
  GET(into);
  return 0;
}

static int store(int* into, int value) {
  *into = value;
  return 0;
}

static int set_modem_lines(int value) { return store(&modem_lines, value & (TIOCM_DTR | TIOCM_RTS)); }

static int set_blocking(const int * not ) {
  *terminal_flags() = (*terminal_flags() & ~O_NONBLOCK) | (*not != 0 ? O_NONBLOCK : 0);
  return 0;
}

static int no_break(void) { refuse("ioctl", "the bench has no way to send a break"); }

static int ask(unsigned long request, void* with) {
  switch (request) {
    case TCGETS:
      return get_old(with);
    case TCSETS:
    case TCSETSW:
    case TCSETSF:
      return set_old(request - TCSETS, with);
    case TCGETS2:
      return get_new(with);
    case TCSETS2:
    case TCSETSW2:
    case TCSETSF2:
      return set_new(request - TCSETS2, with);
    case TCFLSH:
      return terminal_flush((int)(long)with);
    case FIONREAD:
      return store(with, (int)terminal_look());
    case TIOCOUTQ:
      return store(with, (int)terminal_unsent());
    case FIONBIO:
      return set_blocking(with);
    case TIOCMGET:
      return store(with, modem_lines);
    case TIOCMSET:
      return set_modem_lines(*(const int*)with);
    case TIOCMBIS:
      return set_modem_lines(modem_lines | *(const int*)with);
    case TIOCMBIC:
      return set_modem_lines(modem_lines & ~*(const int*)with);
    case TIOCEXCL:
    case TIOCNXCL:
      return 0;
    case TCSBRK:
      return with != NULL ? before_setting(1) : no_break();
    case TCSBRKP:
    case TIOCSBRK:
    case TIOCCBRK:
      return no_break();
    case TCXONC:
      refuse("ioctl", "the line has no flow control");
    case TIOCMIWAIT:
      refuse("ioctl", "the line has no modem lines to wait for");
    default:
      errno = ENOTTY;
      return -1;
  }
}

CAUGHT int ioctl(int fd, unsigned long request, ...) {
  va_list more;
  REAL(ioctl);
  va_start(more, request);
  void* with = va_arg(more, void*);
  va_end(more);
  return terminal_is(fd) ? ask(request, with) : real_ioctl(fd, request, with);
}
