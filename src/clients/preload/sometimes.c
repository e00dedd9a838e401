/* Calls that are refused for what they are given: an alarm that is set, a system call that would go past this library.
 */
#include <stdarg.h>
#include <stddef.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <unistd.h>

#include "caught.h"

static const char no_timers[] = "there are no timers; wait with poll, select or a sleep";

CAUGHT unsigned alarm(unsigned seconds) {
  if (seconds != 0) refuse("alarm", no_timers);
  return 0;
}

/* Programs may switch off what is not on. */
CAUGHT int setitimer(__itimer_which_t which, const struct itimerval* restrict set, struct itimerval* restrict before) {
  REAL(setitimer);
  if (set != NULL && (set->it_value.tv_sec != 0 || set->it_value.tv_usec != 0)) refuse("setitimer", no_timers);
  return real_setitimer(which, set, before);
}

static const long past_us[] = {
    SYS_clock_gettime, SYS_clock_nanosleep, SYS_nanosleep,     SYS_gettimeofday,   SYS_pselect6, SYS_ppoll,
    SYS_timer_create,  SYS_timerfd_create,  SYS_epoll_create1, SYS_io_uring_setup, SYS_clone,    SYS_clone3,
#if defined(__x86_64__)
    SYS_time,          SYS_select,          SYS_poll,          SYS_fork,           SYS_vfork,    SYS_alarm,
    SYS_pause,         SYS_epoll_create
#endif
};

CAUGHT long syscall(long number, ...) {
  long with[6];
  va_list more;
  REAL(syscall);
  for (size_t i = 0; i < sizeof past_us / sizeof past_us[0]; ++i) {
    if (number == past_us[i])
      refuse("syscall", "the program asks the kernel past the C library, for time, a wait or a thread");
  }
  va_start(more, number);
  for (int i = 0; i < 6; ++i) with[i] = va_arg(more, long);
  va_end(more);
  return real_syscall(number, with[0], with[1], with[2], with[3], with[4], with[5]);
}
