/* Reading clocks, and sleeping. Clocks that show the date begin the run at 2026-01-01 00:00 UTC, the others at its own
 * instant. Processor time is what it is: the program's work takes no time of the run. */
#include <errno.h>
#include <stddef.h>
#include <sys/time.h>
#include <sys/times.h>
#include <threads.h>
#include <time.h>
#include <unistd.h>

#include "bench.h"
#include "caught.h"

static const uint64_t SECOND = 1000000000U;
static const uint64_t EPOCH = 1767225600U; /* 2026-01-01 00:00 UTC */

/* Nanoseconds that the clock is ahead of the run's; 0 if it is none of ours. */
static int is_ours(clockid_t clock, uint64_t* ahead) {
  switch (clock) {
    case CLOCK_REALTIME:
    case CLOCK_REALTIME_COARSE:
    case CLOCK_REALTIME_ALARM:
    case CLOCK_TAI:
      *ahead = EPOCH * SECOND;
      return 1;
    case CLOCK_MONOTONIC:
    case CLOCK_MONOTONIC_RAW:
    case CLOCK_MONOTONIC_COARSE:
    case CLOCK_BOOTTIME:
    case CLOCK_BOOTTIME_ALARM:
      *ahead = 0;
      return 1;
    default:
      return 0;
  }
}

static uint64_t read_clock(uint64_t ahead) {
  bench_look();
  return bench_now() + ahead;
}

static struct timespec spec_of(uint64_t nanos) {
  const struct timespec spec = {(time_t)(nanos / SECOND), (long)(nanos % SECOND)};
  return spec;
}

/* 0, or EINVAL. What is further than the run's clock goes is never. */
static int nanos_of(const struct timespec* spec, uint64_t* nanos) {
  if (spec->tv_sec < 0 || spec->tv_nsec < 0 || (uint64_t)spec->tv_nsec >= SECOND) return EINVAL;
  const uint64_t seconds = (uint64_t)spec->tv_sec;
  *nanos = seconds >= HOPBENCH_TIME_NEVER / SECOND ? HOPBENCH_TIME_NEVER : seconds * SECOND + (uint64_t)spec->tv_nsec;
  return 0;
}

CAUGHT int clock_gettime(clockid_t clock, struct timespec* into) {
  uint64_t ahead = 0;
  REAL(clock_gettime);
  if (!is_ours(clock, &ahead)) return real_clock_gettime(clock, into);
  *into = spec_of(read_clock(ahead));
  return 0;
}

CAUGHT int gettimeofday(struct timeval* restrict into, void* restrict zone) {
  (void)zone;
  const struct timespec now = spec_of(read_clock(EPOCH * SECOND));
  into->tv_sec = now.tv_sec;
  into->tv_usec = now.tv_nsec / 1000;
  return 0;
}

CAUGHT time_t time(time_t* into) {
  const time_t now = spec_of(read_clock(EPOCH * SECOND)).tv_sec;
  if (into != NULL) *into = now;
  return now;
}

CAUGHT int timespec_get(struct timespec* into, int base) {
  if (base != TIME_UTC) return 0;
  *into = spec_of(read_clock(EPOCH * SECOND));
  return base;
}

CAUGHT clock_t times(struct tms* into) {
  REAL(times);
  (void)real_times(into);
  return (clock_t)(read_clock(0) / (SECOND / (uint64_t)sysconf(_SC_CLK_TCK)));
}

CAUGHT int clock_nanosleep(clockid_t clock, int flags, const struct timespec* span, struct timespec* left) {
  uint64_t ahead = 0;
  uint64_t nanos = 0;
  if (!is_ours(clock, &ahead)) return EINVAL;
  if (nanos_of(span, &nanos) != 0) return EINVAL;
  const int absolute = (flags & TIMER_ABSTIME) != 0;
  const uint64_t until = !absolute                      ? bench_after(nanos)
                         : nanos == HOPBENCH_TIME_NEVER ? nanos
                         : nanos > ahead                ? nanos - ahead
                                                        : 0;
  if (bench_sleep_until(until) == 0) return 0;
  if (!absolute && left != NULL) *left = spec_of(until > bench_now() ? until - bench_now() : 0);
  return EINTR;
}

CAUGHT int nanosleep(const struct timespec* span, struct timespec* left) {
  const int error = clock_nanosleep(CLOCK_MONOTONIC, 0, span, left);
  if (error == 0) return 0;
  errno = error;
  return -1;
}

CAUGHT int thrd_sleep(const struct timespec* span, struct timespec* left) {
  const int error = clock_nanosleep(CLOCK_MONOTONIC, 0, span, left);
  return error == 0 ? 0 : error == EINTR ? -1 : -2;
}

CAUGHT int usleep(useconds_t micros) {
  if (bench_sleep_until(bench_after(micros * (uint64_t)1000)) == 0) return 0;
  errno = EINTR;
  return -1;
}

CAUGHT unsigned sleep(unsigned seconds) {
  const uint64_t until = bench_after(seconds * SECOND);
  if (bench_sleep_until(until) == 0) return 0;
  return until > bench_now() ? (unsigned)((until - bench_now() + SECOND - 1) / SECOND) : 0;
}
