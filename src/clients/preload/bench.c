#include "bench.h"

#include <errno.h>
#include <signal.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "caught.h"

enum { FREE_LOOKS = 1000, LOOK_TAKES = 10000, TOLD_EVERY = 1000 };

static hopbench_time* connection;
static int over;
static int left;           /* it has said goodbye */
static int untold;         /* time has passed that the bench has not heard of */
static unsigned looks;     /* since the last wait or sleep */
static uint64_t after_end; /* what the program has slept since the run is over */

__attribute__((constructor)) static void check_surroundings(void) {
  if (getenv("HOPBENCH_TIME_FD") == NULL && getenv("HOPBENCH_TIME_SOCKET") == NULL) {
    refuse("LD_PRELOAD", "there is no bench; start the program with hopbench run --controller");
  }
  if (getenv("HOPBENCH_TIME_TTY") == NULL) {
    refuse("LD_PRELOAD", "HOPBENCH_TIME_TTY does not name the terminal, as /dev/bench, say");
  }
}

/* A program that ends well before the run does has left; one that ends otherwise is a fault that the bench tells. */
static void leave(int exit_code, void* unused) {
  (void)unused;
  left = 1;
  /* The bench ends a program that has said goodbye, and the streams are written out later than this. */
  (void)fflush(NULL);
  if (connection != NULL && exit_code == 0) hopbench_time_close(connection);
  connection = NULL;
}

__attribute__((constructor)) static void leave_at_exit(void) { (void)on_exit(leave, NULL); }

hopbench_time* bench(void) {
  if (connection != NULL) return connection;
  connection = hopbench_time_open(getenv("HOPBENCH_TIME_SOCKET"), program_invocation_short_name);
  if (connection == NULL) refuse("the connection to the bench", strerror(errno));
  return connection;
}

int bench_over(void) { return over || left; }

uint64_t bench_now(void) { return left ? after_end : hopbench_time_now(bench()) + after_end; }

uint64_t bench_after(uint64_t span) {
  const uint64_t now = bench_now();
  return span > HOPBENCH_TIME_NEVER - now ? HOPBENCH_TIME_NEVER : now + span;
}

/* Whether the program does something about this signal. */
static int handles(int signal_number) {
  struct sigaction action;
  if (sigaction(signal_number, NULL, &action) != 0) return 0;
  return action.sa_handler != SIG_DFL && action.sa_handler != SIG_IGN;
}

static void end_run(void) {
  static const int ways_to_end[] = {SIGTERM, SIGINT, SIGHUP};
  over = 1;
  for (size_t i = 0; i < sizeof ways_to_end / sizeof ways_to_end[0]; ++i) {
    if (handles(ways_to_end[i])) {
      (void)raise(ways_to_end[i]);
      return;
    }
  }
  exit(0);
}

static int wait_at_bench(uint64_t until, uint32_t chars, uint64_t still) {
  if (bench_over()) return -1;
  untold = 0;
  switch (hopbench_time_wait(bench(), until, chars, still)) {
    case HOPBENCH_TIME_ENDED:
      end_run();
      return -1;
    case HOPBENCH_TIME_FAILED:
      refuse("the connection to the bench", hopbench_time_error(bench()));
    default:
      return 0;
  }
}

int bench_wait(uint64_t until, uint32_t chars, uint64_t still) {
  looks = 0;
  return wait_at_bench(until, chars, still);
}

int bench_tell(void) { return untold && !bench_over() ? wait_at_bench(bench_now(), 0, HOPBENCH_TIME_NEVER) : 0; }

static void pass(uint64_t span) {
  if (bench_over()) {
    /* So that a program that goes on all the same does not fill a disk with what it has to say about it. */
    static const struct timespec some_time = {0, 1000000};
    REAL(nanosleep);
    (void)real_nanosleep(&some_time, NULL);
    after_end += span;
  } else {
    (void)hopbench_time_sleep(bench(), span);
    untold = 1;
  }
}

int bench_sleep_until(uint64_t until) {
  /* Else the end of the run would be missed by a program that does nothing but sleep. */
  if (bench_tell() != 0) return -1;
  if (until > bench_now()) pass(until - bench_now());
  looks = 0;
  return 0;
}

void bench_look(void) {
  if (++looks <= FREE_LOOKS) return;
  if (looks % TOLD_EVERY == 0) (void)bench_tell();
  pass(LOOK_TAKES);
}
