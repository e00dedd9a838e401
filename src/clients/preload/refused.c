/* Calls that have no place in granted time, whatever they are given. None of them returns, so what they take and give
 * is of no account here: the headers that declare them are left out on purpose. */
#include "caught.h"

#define REFUSED(name, why) \
  CAUGHT void name(void);  \
  CAUGHT void name(void) { refuse(#name, why); }

#define ONE_THREAD "time is granted to one thread"
REFUSED(pthread_create, ONE_THREAD)
REFUSED(thrd_create, ONE_THREAD)

#define ONE_PROCESS "time is granted to one process; a service needs its option to stay in the foreground"
REFUSED(fork, ONE_PROCESS)
REFUSED(_Fork, ONE_PROCESS)
REFUSED(vfork, ONE_PROCESS)
REFUSED(clone, ONE_PROCESS)
REFUSED(daemon, ONE_PROCESS)
REFUSED(forkpty, ONE_PROCESS)
REFUSED(system, ONE_PROCESS)
REFUSED(popen, ONE_PROCESS)
REFUSED(posix_spawn, ONE_PROCESS)
REFUSED(posix_spawnp, ONE_PROCESS)

#define NO_TIMERS "there are no timers; wait with poll, select or a sleep"
REFUSED(timer_create, NO_TIMERS)
REFUSED(timerfd_create, NO_TIMERS)
REFUSED(ualarm, NO_TIMERS)

#define USE_POLL "use poll or select"
REFUSED(epoll_create, USE_POLL)
REFUSED(epoll_create1, USE_POLL)
REFUSED(signalfd, USE_POLL)
REFUSED(aio_read, USE_POLL)
REFUSED(aio_write, USE_POLL)
REFUSED(aio_suspend, USE_POLL)

#define OTHERS "it waits for a signal or for another thread, by the computer's clock; wait with poll, select or a sleep"
REFUSED(pause, OTHERS)
REFUSED(sigsuspend, OTHERS)
REFUSED(sigwait, OTHERS)
REFUSED(sigwaitinfo, OTHERS)
REFUSED(sigtimedwait, OTHERS)
REFUSED(pthread_cond_timedwait, OTHERS)
REFUSED(pthread_cond_clockwait, OTHERS)
REFUSED(cnd_timedwait, OTHERS)
REFUSED(sem_timedwait, OTHERS)
REFUSED(sem_clockwait, OTHERS)
REFUSED(mq_timedreceive, OTHERS)
REFUSED(mq_timedsend, OTHERS)

#define OWN_CLOCK "the clocks are the run's"
REFUSED(clock_settime, OWN_CLOCK)
REFUSED(settimeofday, OWN_CLOCK)
REFUSED(adjtime, OWN_CLOCK)
REFUSED(adjtimex, OWN_CLOCK)
REFUSED(clock_adjtime, OWN_CLOCK)
REFUSED(ntp_adjtime, OWN_CLOCK)
REFUSED(ntp_gettime, OWN_CLOCK)
REFUSED(ntp_gettimex, OWN_CLOCK)
REFUSED(ftime, OWN_CLOCK)

#define DESCRIPTORS "it would close the way to the bench too; close descriptors one by one"
REFUSED(closefrom, DESCRIPTORS)
REFUSED(close_range, DESCRIPTORS)
