/* A program that does what granted time has no place for.
 *
 * usage: refused TTY WHAT, where WHAT is a name in `ways` below; or refused TTY call NAME, which calls a function of
 * the C library by its name, without arguments. It prints "not refused" if it comes that far. */
#if !defined(_GNU_SOURCE)
#define _GNU_SOURCE
#endif
#include <dlfcn.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/ioctl.h>
#include <sys/signalfd.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <sys/timerfd.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static const char* tty;
static unsigned char bytes[64];

static int open_with(tcflag_t input, tcflag_t output, tcflag_t control, tcflag_t local, speed_t speed) {
  struct termios how;
  const int port = open(tty, O_RDWR | O_NOCTTY);
  tcgetattr(port, &how);
  cfmakeraw(&how);
  cfsetspeed(&how, speed);
  how.c_iflag |= input;
  how.c_oflag |= output;
  how.c_cflag ^= control;
  how.c_lflag |= local;
  tcsetattr(port, TCSANOW, &how);
  return port;
}

static int open_raw(void) { return open_with(0, 0, PARENB, 0, B57600); }

static void* nothing(void* unused) { return unused; }

static void threads(void) {
  pthread_t thread;
  if (pthread_create(&thread, NULL, nothing, NULL) == 0) pthread_join(thread, NULL);
}
static void forks(void) {
  if (fork() == 0) _exit(0);
}
static void runs_shell(void) {
  if (system("true") != 0) puts("?");
}
static void alarms(void) { alarm(1); }
static void no_alarm(void) { alarm(0); }
static void sets_timer(void) {
  const struct itimerval soon = {{0, 0}, {1, 0}};
  setitimer(ITIMER_REAL, &soon, NULL);
}
static void makes_timer(void) {
  timer_t timer;
  timer_create(CLOCK_MONOTONIC, NULL, &timer);
}
static void timer_descriptor(void) { timerfd_create(CLOCK_MONOTONIC, 0); }
static void epolls(void) { epoll_create1(0); }
static void signal_descriptor(void) {
  sigset_t set;
  sigemptyset(&set);
  signalfd(-1, &set, 0);
}
static void past_the_library(void) {
  struct timespec time;
  syscall(SYS_clock_gettime, CLOCK_MONOTONIC, &time);
}
static void other_calls(void) {
  if (syscall(SYS_getpid) != getpid()) puts("?");
}
static void breaks(void) { tcsendbreak(open_raw(), 0); }
static void breaks_by_ioctl(void) { ioctl(open_raw(), TIOCSBRK); }
static void stream(void) { fopen(tty, "r+"); }
static void stream_of_it(void) { fdopen(open_raw(), "r+"); }
static void prints_to_it(void) { dprintf(open_raw(), "hello\n"); }
static void copies(void) { dup(open_raw()); }
static void copies_by_fcntl(void) { fcntl(open_raw(), F_DUPFD, 10); }
static void twice(void) {
  open_raw();
  open_raw();
}
static void without_end(void) { poll(NULL, 0, -1); }
static void takes_back(void) {
  const int port = open_raw();
  if (write(port, bytes, 17) == 17) tcflush(port, TCOFLUSH);
}
/* A common UART has them already. */
static void takes_back_16(void) {
  const int port = open_raw();
  if (write(port, bytes, 16) == 16) tcflush(port, TCOFLUSH);
}
static void writes_as_opened(void) {
  if (write(open(tty, O_RDWR), bytes, 1) != 1) puts("?");
}
static void write_to(int port) {
  if (write(port, bytes, 1) != 1) puts("?");
}
static void poll_it(int port) {
  struct pollfd one = {port, POLLIN, 0};
  poll(&one, 1, 1);
}
static void other_rate(void) { write_to(open_with(0, 0, PARENB, 0, B9600)); }
static void other_parity(void) { poll_it(open_with(0, 0, PARENB | PARODD, 0, B57600)); }
static void no_parity(void) { poll_it(open_with(0, 0, 0, 0, B57600)); }
static void two_stop_bits(void) { write_to(open_with(0, 0, PARENB | CSTOPB, 0, B57600)); }
/* CS8 without the bit that is CS6 is CS7. */
static void seven_bits(void) { write_to(open_with(0, 0, PARENB | CS6, 0, B57600)); }
static void lines_of_text(void) {
  if (read(open_with(0, 0, PARENB, ICANON | ECHO, B57600), bytes, 1) != 1) puts("?");
}
static void line_ends(void) { write_to(open_with(ICRNL, OPOST | ONLCR, PARENB, 0, B57600)); }
static void handshake(void) { write_to(open_with(0, 0, PARENB | CRTSCTS, 0, B57600)); }
static void deaf(void) { write_to(open_with(0, 0, PARENB | CREAD, 0, B57600)); }
static void closes_many(void) {
  open_raw();
  closefrom(3);
}

static const struct {
  const char* name;
  void (*function)(void);
} ways[] = {{"threads", threads},
            {"forks", forks},
            {"runs-shell", runs_shell},
            {"alarms", alarms},
            {"no-alarm", no_alarm},
            {"sets-timer", sets_timer},
            {"makes-timer", makes_timer},
            {"timer-descriptor", timer_descriptor},
            {"epolls", epolls},
            {"signal-descriptor", signal_descriptor},
            {"past-the-library", past_the_library},
            {"other-calls", other_calls},
            {"breaks", breaks},
            {"breaks-by-ioctl", breaks_by_ioctl},
            {"stream", stream},
            {"stream-of-it", stream_of_it},
            {"prints-to-it", prints_to_it},
            {"copies", copies},
            {"copies-by-fcntl", copies_by_fcntl},
            {"twice", twice},
            {"without-end", without_end},
            {"takes-back", takes_back},
            {"takes-back-16", takes_back_16},
            {"writes-as-opened", writes_as_opened},
            {"other-rate", other_rate},
            {"other-parity", other_parity},
            {"no-parity", no_parity},
            {"two-stop-bits", two_stop_bits},
            {"seven-bits", seven_bits},
            {"lines-of-text", lines_of_text},
            {"line-ends", line_ends},
            {"handshake", handshake},
            {"deaf", deaf},
            {"closes-many", closes_many}};

/* 1: the C library has no such function. */
static int call(const char* name) {
  void* libc = dlopen("libc.so.6", RTLD_NOW);
  void* found = dlsym(RTLD_DEFAULT, name);
  void (*function)(void) = NULL;
  if (libc == NULL || dlsym(libc, name) == NULL || found == NULL) return 1;
  memcpy(&function, &found, sizeof function);
  function();
  return 0;
}

int main(int count, char** words) {
  if (count < 3) return 2;
  tty = words[1];
  if (count == 4) {
    if (call(words[3]) != 0) printf("there is no %s\n", words[3]);
  }
  for (size_t i = 0; i < sizeof ways / sizeof ways[0]; ++i) {
    if (strcmp(words[2], ways[i].name) == 0) ways[i].function();
  }
  puts("not refused");
  return 0;
}
