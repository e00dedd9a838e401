/* poll() and select() with the terminal, with other descriptors, or with none. Others are looked at when the wait
 * begins and when it ends, and nobody waits for them: the time of what is outside is not the run's. */
#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stddef.h>
#include <sys/select.h>

#include "bench.h"
#include "caught.h"
#include "settings.h"
#include "terminal.h"

enum { READS = POLLIN | POLLRDNORM, WRITES = POLLOUT | POLLWRNORM };

static struct pollfd* find_terminal(struct pollfd* all, nfds_t count) {
  for (nfds_t i = 0; i < count; ++i) {
    if (terminal_is(all[i].fd)) return &all[i];
  }
  return NULL;
}

/* The others, without waiting, the terminal left out. */
static int look_at_others(struct pollfd* all, nfds_t count, struct pollfd* terminal, const sigset_t* signals) {
  static const struct timespec at_once = {0, 0};
  if (count == (terminal != NULL ? 1U : 0U) && signals == NULL) return 0;
  REAL(ppoll);
  const int fd = terminal != NULL ? terminal->fd : -1;
  if (terminal != NULL) terminal->fd = -1;
  const int ready = real_ppoll(all, count, &at_once, signals);
  if (terminal != NULL) terminal->fd = fd;
  return ready;
}

static int look_at_terminal(struct pollfd* terminal) {
  int ready = 0;
  if (bench_over()) {
    ready = POLLHUP | (terminal->events & READS);
  } else {
    if ((terminal->events & READS) != 0 && terminal_there() >= terminal_least()) ready |= terminal->events & READS;
    if ((terminal->events & WRITES) != 0 && terminal_writable_at() <= bench_now()) ready |= terminal->events & WRITES;
  }
  terminal->revents = (short)ready;
  return ready != 0;
}

/* How many are ready; below 0: an error, errno says which. */
static int look(struct pollfd* all, nfds_t count, struct pollfd* terminal, const sigset_t* signals) {
  const int others = look_at_others(all, count, terminal, signals);
  return others < 0 || terminal == NULL ? others : others + look_at_terminal(terminal);
}

static int sleep_or_wait(const char* call, const struct pollfd* terminal, uint64_t until) {
  if (terminal != NULL && (terminal->events & WRITES) != 0 && terminal_writable_at() < until) {
    until = terminal_writable_at();
  }
  if (terminal != NULL && (terminal->events & READS) != 0) {
    return terminal_await(terminal_least(), until, HOPBENCH_TIME_NEVER);
  }
  if (until == HOPBENCH_TIME_NEVER) refuse(call, "it waits without end, and not for the terminal");
  return bench_sleep_until(until);
}

static int wait_for(const char* call, struct pollfd* all, nfds_t count, uint64_t until, const sigset_t* signals) {
  struct pollfd* terminal = find_terminal(all, count);
  if (terminal != NULL && !bench_over()) settings_fit(call);
  const int ready = look(all, count, terminal, signals);
  if (ready != 0) return ready;
  if (until <= bench_now()) {
    bench_look();
    return 0;
  }
  if (sleep_or_wait(call, terminal, until) == 0) return look(all, count, terminal, signals);
  errno = EINTR;
  return -1;
}

static uint64_t until_of(const struct timespec* span) {
  const uint64_t second = 1000000000U;
  if (span == NULL || (uint64_t)span->tv_sec >= HOPBENCH_TIME_NEVER / second) return HOPBENCH_TIME_NEVER;
  return bench_after((uint64_t)span->tv_sec * second + (uint64_t)span->tv_nsec);
}

static int cannot_be(const struct timespec* span) {
  return span != NULL && (span->tv_sec < 0 || span->tv_nsec < 0 || span->tv_nsec >= 1000000000);
}

static int invalid(void) {
  errno = EINVAL;
  return -1;
}

/* ---- poll ---------------------------------------------------------------------------------------------------------
 */

CAUGHT int poll(struct pollfd* all, nfds_t count, int millis) {
  const uint64_t until = millis < 0 ? HOPBENCH_TIME_NEVER : bench_after((uint64_t)millis * 1000000U);
  return wait_for("poll", all, count, until, NULL);
}

CAUGHT int ppoll(struct pollfd* all, nfds_t count, const struct timespec* span, const sigset_t* signals) {
  return cannot_be(span) ? invalid() : wait_for("ppoll", all, count, until_of(span), signals);
}

static const char too_many[] = "the program names more descriptors than its array holds";

CAUGHT int __poll_chk(struct pollfd* all, nfds_t count, int millis, size_t size) {
  if (count > size / sizeof *all) refuse("poll", too_many);
  return poll(all, count, millis);
}

CAUGHT int __ppoll_chk(struct pollfd* all, nfds_t count, const struct timespec* span, const sigset_t* signals,
                       size_t size) {
  if (count > size / sizeof *all) refuse("ppoll", too_many);
  return ppoll(all, count, span, signals);
}

/* ---- select -------------------------------------------------------------------------------------------------------
 */

static int is_in(int fd, const fd_set* set) { return set != NULL && FD_ISSET(fd, set); }

static short events_of(int fd, const fd_set* reads, const fd_set* writes, const fd_set* excepts) {
  return (short)((is_in(fd, reads) ? READS : 0) | (is_in(fd, writes) ? WRITES : 0) |
                 (is_in(fd, excepts) ? POLLPRI : 0));
}

/* Leaves it in the set if so; gives 1 if it was in it and stays. */
static int keep_if(int fd, fd_set* set, int is_so) {
  if (!is_in(fd, set)) return 0;
  if (!is_so) FD_CLR(fd, set);
  return is_so;
}

static int select_until(const char* call, int count, fd_set* reads, fd_set* writes, fd_set* excepts, uint64_t until,
                        const sigset_t* signals) {
  struct pollfd all[FD_SETSIZE];
  nfds_t used = 0;
  if (count < 0) return invalid();
  for (int fd = 0; fd < count && fd < FD_SETSIZE; ++fd) {
    const struct pollfd each = {fd, events_of(fd, reads, writes, excepts), 0};
    if (each.events != 0) all[used++] = each;
  }
  if (wait_for(call, all, used, until, signals) < 0) return -1;
  int ready = 0;
  for (nfds_t i = 0; i < used; ++i) {
    const int is = all[i].revents;
    if ((is & POLLNVAL) != 0) {
      errno = EBADF;
      return -1;
    }
    ready += keep_if(all[i].fd, reads, (is & (READS | POLLHUP | POLLERR)) != 0);
    ready += keep_if(all[i].fd, writes, (is & (WRITES | POLLERR)) != 0);
    ready += keep_if(all[i].fd, excepts, (is & POLLPRI) != 0);
  }
  return ready;
}

CAUGHT int pselect(int count, fd_set* restrict reads, fd_set* restrict writes, fd_set* restrict excepts,
                   const struct timespec* restrict span, const sigset_t* restrict signals) {
  if (cannot_be(span)) return invalid();
  return select_until("pselect", count, reads, writes, excepts, until_of(span), signals);
}

CAUGHT int select(int count, fd_set* restrict reads, fd_set* restrict writes, fd_set* restrict excepts,
                  struct timeval* restrict span) {
  if (span == NULL) return select_until("select", count, reads, writes, excepts, HOPBENCH_TIME_NEVER, NULL);
  if (span->tv_sec < 0 || span->tv_usec < 0) return invalid();
  const struct timespec fine = {span->tv_sec + span->tv_usec / 1000000, span->tv_usec % 1000000 * 1000};
  const uint64_t until = until_of(&fine);
  const int ready = select_until("select", count, reads, writes, excepts, until, NULL);
  /* As Linux does: what is left of it. */
  const uint64_t left = until > bench_now() ? (until - bench_now()) / 1000U : 0;
  span->tv_sec = (time_t)(left / 1000000U);
  span->tv_usec = (suseconds_t)(left % 1000000U);
  return ready;
}
