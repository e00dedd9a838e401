/* A controller in the bench's virtual time: C99, and POSIX sockets only. Time goes on only in hopbench_time_wait() and
 * what is built on it (read, sleep). A debugger may stop the program anywhere: time stops as well.
 *
 * Two ways to use it. Events: write, wait, and take characters one by one with their instants and error marks. Or a
 * serial port that blocks: write, read with a time-out, now, sleep. Both may be mixed.
 *
 * Times are nanoseconds, instants on the bench's clock. Not for several threads at once. */
#ifndef HOPBENCH_TIME_H
#define HOPBENCH_TIME_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define HOPBENCH_TIME_VERSION 1
#define HOPBENCH_TIME_NEVER UINT64_MAX

typedef struct hopbench_time hopbench_time;

/* What functions that return an int give beside what they are asked for. Both stay: nothing comes any more. */
enum { HOPBENCH_TIME_FAILED = -1, HOPBENCH_TIME_ENDED = -2 };

/* Marks of a character. */
enum { HOPBENCH_TIME_FRAMING = 1, HOPBENCH_TIME_PARITY = 2, HOPBENCH_TIME_OVERRUN = 4, HOPBENCH_TIME_BREAK = 8 };

/* Why a wait ended. */
enum { HOPBENCH_TIME_WAITED = 1, HOPBENCH_TIME_CHARS = 2, HOPBENCH_TIME_STILL = 3 };

/* What became of an exchange. */
enum {
  HOPBENCH_TIME_ANSWERED = 1,  /* an answer was taken */
  HOPBENCH_TIME_TIMED_OUT = 2, /* given up: nothing came, or nothing of use */
  HOPBENCH_TIME_RETRIED = 3,   /* the next ask is another try of it */
  HOPBENCH_TIME_REJECTED = 4   /* given up: something came that was no good */
};

typedef struct {
  uint64_t at; /* the end of its last bit */
  uint8_t value;
  uint8_t marks;
} hopbench_char;

typedef struct {
  uint32_t baud;
  uint8_t data_bits;
  uint8_t parity;         /* 0 none, 1 odd, 2 even */
  uint8_t stop_half_bits; /* 2, 3 or 4 */
  uint64_t start;         /* what the clock shows at the start */
  uint64_t char_time;     /* of one character, rounded up */
} hopbench_line;

/* Connects to a bench and exchanges hellos. `socket_path`: where the bench listens; NULL: the bench has started this
 * program. `name`: what the bench calls it. NULL, with errno, if there is no bench or it speaks another version. */
hopbench_time* hopbench_time_open(const char* socket_path, const char* name);
/* Says goodbye and frees it. NULL is fine. */
void hopbench_time_close(hopbench_time* bench);

const hopbench_line* hopbench_time_line(const hopbench_time* bench);
/* The present instant. Costs nothing. */
uint64_t hopbench_time_now(const hopbench_time* bench);
/* What failed, in words; "" if nothing. */
const char* hopbench_time_error(const hopbench_time* bench);

/* Puts bytes on the wire, back to back, behind those that are still on their way. Returns how many, or an error. They
 * leave with the next wait. */
int hopbench_time_write(hopbench_time* bench, const uint8_t* bytes, size_t count);
/* Tells what became of what was asked last. `exchange`: any number of yours. */
int hopbench_time_decided(hopbench_time* bench, uint64_t exchange, int verdict);
/* A line for the person who watches, at most 1,024 bytes. */
int hopbench_time_log(hopbench_time* bench, const char* text);

/* Waits until `until`, or until `chars` more characters have come (0: not for that), or until at least one has come in
 * this wait and then none for `still` (HOPBENCH_TIME_NEVER: not for that). Returns why it ended, or an error. */
int hopbench_time_wait(hopbench_time* bench, uint64_t until, uint32_t chars, uint64_t still);
/* The oldest character that has come and was not taken. 1, or 0 if there is none. Does not wait. */
int hopbench_time_take(hopbench_time* bench, hopbench_char* into);
/* Characters that have come and were not taken. */
size_t hopbench_time_there(hopbench_time* bench);
/* Throws away what has come by now. */
void hopbench_time_flush(hopbench_time* bench);

/* Reads `count` characters, waiting until all are there or `time_out` has passed. Returns how many there were, or an
 * error. `marks` (may be NULL): all marks of these characters, together. */
int hopbench_time_read(hopbench_time* bench, uint8_t* into, size_t count, uint64_t time_out, uint8_t* marks);
/* As read, but what was read ends too when the line has been still for `still` after it: for a bus whose frames end in
 * a pause. */
int hopbench_time_read_frame(hopbench_time* bench, uint8_t* into, size_t count, uint64_t time_out, uint64_t still,
                             uint8_t* marks);
/* Lets `span` pass. 0, or an error. The bench hears of it with the next wait, read or decision, so that an ask that
 * follows needs no round trip of its own; that the run is over is told there. */
int hopbench_time_sleep(hopbench_time* bench, uint64_t span);

#ifdef __cplusplus
}
#endif

#endif
