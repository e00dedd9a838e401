/* A program for a serial port that uses POSIX alone, one way after the other, and prints what it sees: spans in
 * nanoseconds of its monotonic clock. It knows nothing of hopbench.
 *
 * usage: plain_tty TTY WHAT, where WHAT is a name in `ways` below */
#if !defined(_GNU_SOURCE)
#define _GNU_SOURCE
#endif
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/select.h>
#include <sys/time.h>
#include <sys/uio.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static const char* tty;
static int port = -1;

static int64_t now(void) {
  struct timespec time;
  clock_gettime(CLOCK_MONOTONIC, &time);
  return (int64_t)time.tv_sec * 1000000000 + time.tv_nsec;
}

static void say(const char* what, int64_t began, int64_t result) {
  printf("%s %lld ns, %lld\n", what, (long long)(now() - began), (long long)result);
}

static void set_raw(unsigned least, unsigned tenths) {
  struct termios how;
  tcgetattr(port, &how);
  cfmakeraw(&how);
  cfsetspeed(&how, B57600);
  how.c_cflag |= PARENB | CLOCAL | CREAD;
  how.c_cc[VMIN] = (cc_t)least;
  how.c_cc[VTIME] = (cc_t)tenths;
  tcsetattr(port, TCSANOW, &how);
}

static void open_raw(void) {
  port = open(tty, O_RDWR | O_NOCTTY);
  if (port < 0) perror(tty);
  set_raw(1, 0);
}

/* Reads one register of unit 1: eight characters, seven come back. The next one begins on a whole second, so that each
 * finds the line and the unit alike. */
static int64_t ask(void) {
  static const unsigned char bytes[] = {1, 3, 0, 0, 0, 1, 0x84, 0x0a};
  const struct timespec at = {(time_t)(now() / 1000000000 + 1), 0};
  clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &at, NULL);
  tcflush(port, TCIFLUSH);
  const int64_t began = now();
  if (write(port, bytes, sizeof bytes) != sizeof bytes) perror("write");
  return began;
}

static void waits(void) {
  struct timespec span = {0, 123456789};
  struct timespec absolute;
  struct timeval coarse = {0, 7};
  struct pollfd one;
  fd_set set;
  open_raw();
  one = (struct pollfd){port, POLLIN, 0};
  int64_t began = now();
  say("nanos", began, nanosleep(&span, NULL));
  clock_gettime(CLOCK_REALTIME, &absolute);
  absolute.tv_sec += 3;
  began = now();
  say("until a date", began, clock_nanosleep(CLOCK_REALTIME, TIMER_ABSTIME, &absolute, NULL));
  began = now();
  say("micros", began, usleep(1500));
  began = now();
  say("seconds", began, sleep(2));
  began = now();
  say("poll of none", began, poll(NULL, 0, 250));
  began = now();
  say("poll", began, poll(&one, 1, 35));
  span = (struct timespec){0, 1};
  began = now();
  say("ppoll", began, ppoll(&one, 1, &span, NULL));
  FD_ZERO(&set);
  FD_SET(port, &set);
  began = now();
  say("select", began, select(port + 1, &set, NULL, NULL, &coarse));
  span = (struct timespec){0, 333};
  began = now();
  say("pselect of none", began, pselect(0, NULL, NULL, NULL, &span, NULL));
  int pipe_ends[2];
  if (pipe(pipe_ends) != 0) perror("pipe");
  struct pollfd two[] = {{port, POLLIN, 0}, {pipe_ends[0], POLLIN, 0}};
  began = now();
  say("poll of an empty pipe", began, poll(two, 2, 40));
  if (write(pipe_ends[1], "x", 1) != 1) perror("write");
  began = now();
  say("poll of a full pipe", began, poll(two, 2, 40));
}

static void dates(void) {
  struct timeval day;
  struct timespec spec;
  const time_t began = time(NULL);
  char text[32];
  strftime(text, sizeof text, "%F %T", gmtime(&began));
  printf("time %s\n", text);
  usleep(1250000);
  gettimeofday(&day, NULL);
  printf("gettimeofday %lld.%06ld\n", (long long)(day.tv_sec - began), (long)day.tv_usec);
  clock_gettime(CLOCK_BOOTTIME, &spec);
  printf("boottime %lld.%09ld\n", (long long)spec.tv_sec, spec.tv_nsec);
  timespec_get(&spec, TIME_UTC);
  printf("timespec_get %lld.%09ld\n", (long long)(spec.tv_sec - began), spec.tv_nsec);
}

static void reads(void) {
  unsigned char bytes[64];
  int there = 0;
  struct timeval most = {1, 0};
  fd_set set;
  open_raw();

  set_raw(7, 0);
  int64_t began = ask();
  say("seven", began, read(port, bytes, sizeof bytes));
  set_raw(255, 1);
  began = ask();
  say("255 or a tenth between", began, read(port, bytes, sizeof bytes));
  set_raw(0, 5);
  began = now();
  say("nothing in five tenths", began, read(port, bytes, sizeof bytes));
  began = ask();
  say("one in five tenths", began, read(port, bytes, sizeof bytes));
  set_raw(3, 0);
  began = now();
  say("three more", began, read(port, bytes, 3));
  set_raw(20, 2);
  began = ask();
  usleep(100000);
  began = now();
  say("seven there, two tenths", began, read(port, bytes, sizeof bytes));
  set_raw(0, 0);
  began = now();
  say("none at once", began, read(port, bytes, sizeof bytes));
  began = ask();
  FD_ZERO(&set);
  FD_SET(port, &set);
  say("select", began, select(port + 1, &set, NULL, NULL, &most));
  printf("left %lld us\n", (long long)most.tv_sec * 1000000 + most.tv_usec);
  ioctl(port, FIONREAD, &there);
  printf("there %d\n", there);
  set_raw(5, 0);
  struct pollfd one = {port, POLLIN, 0};
  began = ask();
  say("poll for five", began, poll(&one, 1, 1000));
  ioctl(port, FIONREAD, &there);
  printf("there %d\n", there);
  set_raw(1, 0);
  began = ask();
  usleep(100000);
  began = now();
  struct iovec parts[] = {{bytes, 3}, {bytes + 10, 10}};
  say("readv", began, readv(port, parts, 2));
  printf("bytes %d %d %d %d\n", bytes[0], bytes[1], bytes[2], bytes[13]);
  fcntl(port, F_SETFL, O_NONBLOCK);
  began = now();
  say("not blocking", began, read(port, bytes, sizeof bytes));
  printf("%s\n", strerror(errno));
}

static void writes(void) {
  static unsigned char zeros[5000];
  int unsent = 0;
  open_raw();
  int64_t began = now();
  if (write(port, zeros, 8) != 8) perror("write");
  ioctl(port, TIOCOUTQ, &unsent);
  printf("unsent %d\n", unsent);
  say("drained", began, tcdrain(port));
  ioctl(port, TIOCOUTQ, &unsent);
  printf("unsent %d\n", unsent);
  began = now();
  say("more than there is room for", began, write(port, zeros, 5000));
  ioctl(port, TIOCOUTQ, &unsent);
  printf("unsent %d\n", unsent);
  say("closed", began, close(port));
  open_raw();
  fcntl(port, F_SETFL, O_NONBLOCK);
  began = now();
  say("not blocking", began, write(port, zeros, 5000));
  say("not blocking", began, write(port, zeros, 1));
  printf("%s\n", strerror(errno));
}

/* Waits by looking at the clock. */
static void spins(void) {
  const int64_t began = now();
  int64_t looks = 1;
  while (now() - began < 50000000) ++looks;
  say("looked", began, looks);
}

static void looks_at_the_line(void) {
  unsigned char bytes[64];
  open_raw();
  fcntl(port, F_SETFL, O_NONBLOCK);
  const int64_t began = ask();
  int64_t looks = 1;
  while (read(port, bytes, sizeof bytes) < 0) ++looks;
  say("looked", began, looks);
}

/* It never ends by itself. */
static void sleeps(void) {
  for (int i = 1;; ++i) {
    printf("%d ", i);
    sleep(1);
  }
}

static void closes_all_others(void) {
  open_raw();
  printf("%d %s\n", isatty(port), ttyname(port));
  for (int i = 3; i < 20; ++i) {
    if (i != port) close(i);
  }
  const int64_t began = ask();
  unsigned char bytes[8];
  printf("%d\n", read(port, bytes, 1) == 1 && now() > began);
}

static const struct {
  const char* name;
  void (*function)(void);
} ways[] = {{"waits", waits},   {"dates", dates},
            {"reads", reads},   {"writes", writes},
            {"spins", spins},   {"looks", looks_at_the_line},
            {"sleeps", sleeps}, {"closes", closes_all_others}};

int main(int count, char** words) {
  if (count != 3) return 2;
  tty = words[1];
  for (size_t i = 0; i < sizeof ways / sizeof ways[0]; ++i) {
    if (strcmp(words[2], ways[i].name) != 0) continue;
    ways[i].function();
    return 0;
  }
  return 2;
}
