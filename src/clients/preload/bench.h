/* The bench and its time, as the caught functions see them. The connection is made when time or the line is wanted
 * first, so that a shell that only starts the program makes none. Instants are nanoseconds on the run's clock.
 *
 * When the run is over the program is told as a person would: it gets the signal that it handles, of SIGTERM, SIGINT
 * and SIGHUP the first. One that handles none ends as by exit(0). */
#ifndef HOPBENCH_PRELOAD_BENCH_H
#define HOPBENCH_PRELOAD_BENCH_H

#include <stdint.h>

#include "hopbench_time.h"

/* The connection. Ends the program if there is none to be had. */
hopbench_time* bench(void);
/* Whether the run is over; no time passes on the line from then on. */
int bench_over(void);
uint64_t bench_now(void);
/* `now` and `span`, or never if that is too far. */
uint64_t bench_after(uint64_t span);

/* The program looks at the clock or the line, and does not wait. The first 1,000 looks between two waits take no time,
 * each further one takes 10 us, so that a program that waits by looking gets on. */
void bench_look(void);
/* Lets time pass. The bench is told with what follows, or by the next sleep. 0, or -1: the run has ended in it. */
int bench_sleep_until(uint64_t until);
/* Tells the bench of the time that has passed, so that what came in it is there. 0, or -1: the run has ended in it. */
int bench_tell(void);
/* As hopbench_time_wait(), told up to now. 0, or -1: the run has ended in it. */
int bench_wait(uint64_t until, uint32_t chars, uint64_t still);

#endif
