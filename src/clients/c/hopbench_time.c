#if !defined(_POSIX_C_SOURCE)
#define _POSIX_C_SOURCE 200809L
#endif
#include "hopbench_time.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

/* Types of messages, docs/granted-time.md. */
enum {
  BENCH_HELLO = 0x01,
  HEARD = 0x02,
  TIME_IS = 0x03,
  END_OF_RUN = 0x04,
  HELLO = 0x81,
  SEND = 0x82,
  WAIT = 0x83,
  DECIDED = 0x84,
  LOG = 0x85,
  BYE = 0x86
};

enum { MOST_BYTES = 65536, MOST_CHARS = 4096, MOST_TEXT = 1024, ROOM = 32768, CHAR_BYTES = 6 };

struct hopbench_time {
  int fd;
  int state; /* 0, or the error that stays */
  char error[160];
  hopbench_line line;
  uint64_t now;        /* as the program sees it */
  uint64_t bench_now;  /* as the bench has told; a sleep that it has not heard of lies between */
  uint64_t flushed_to; /* what came until then is not wanted; 0: all is */
  /* What has come, in a ring: the oldest goes first when there is no room, as in a receiver that nobody reads. */
  hopbench_char chars[ROOM];
  size_t first, count;
  uint8_t lost;
  uint8_t out[MOST_BYTES];
  size_t out_size;
  uint8_t in[MOST_BYTES + 4];
  size_t in_from, in_to;
};

static int fail(hopbench_time* bench, const char* what) {
  bench->state = HOPBENCH_TIME_FAILED;
  (void)snprintf(bench->error, sizeof bench->error, "%s", what);
  return bench->state;
}

/* ---- bytes --------------------------------------------------------------------------------------------------------
 */

static void put(uint8_t* to, uint64_t value, size_t size) {
  for (size_t i = 0; i < size; ++i) to[i] = (uint8_t)(value >> (8 * i));
}

static uint64_t get(const uint8_t* from, size_t size) {
  uint64_t value = 0;
  for (size_t i = size; i-- > 0;) value = (value << 8) | from[i];
  return value;
}

static int flush_out(hopbench_time* bench) {
  size_t from = 0;
  while (from < bench->out_size) {
    const ssize_t sent = send(bench->fd, bench->out + from, bench->out_size - from, MSG_NOSIGNAL);
    if (sent < 0 && errno == EINTR) continue;
    if (sent < 0) return fail(bench, "the bench has gone");
    from += (size_t)sent;
  }
  bench->out_size = 0;
  return 0;
}

/* Room for a message of `body` bytes; what belongs in it, or NULL. */
static uint8_t* message(hopbench_time* bench, uint8_t type, size_t body) {
  if (bench->out_size + body + 5 > sizeof bench->out && flush_out(bench) != 0) return NULL;
  uint8_t* at = bench->out + bench->out_size;
  put(at, body + 1, 4);
  at[4] = type;
  bench->out_size += body + 5;
  return at + 5;
}

/* The next message into `type` and `body`; its size, or an error. */
static long next_message(hopbench_time* bench, uint8_t* type, const uint8_t** body) {
  for (;;) {
    const size_t there = bench->in_to - bench->in_from;
    if (there >= 4) {
      const size_t length = (size_t)get(bench->in + bench->in_from, 4);
      if (length == 0 || length > MOST_BYTES) return fail(bench, "the bench sent a message of no possible size");
      if (there >= length + 4) {
        *type = bench->in[bench->in_from + 4];
        *body = bench->in + bench->in_from + 5;
        bench->in_from += length + 4;
        return (long)(length - 1);
      }
    }
    memmove(bench->in, bench->in + bench->in_from, there);
    bench->in_from = 0;
    bench->in_to = there;
    const ssize_t size = recv(bench->fd, bench->in + there, sizeof bench->in - there, 0);
    if (size < 0 && errno == EINTR) continue;
    if (size <= 0) return fail(bench, "the bench has gone");
    bench->in_to += (size_t)size;
  }
}

static void keep(hopbench_time* bench, hopbench_char heard) {
  if (heard.at <= bench->flushed_to) return;
  if (bench->count == ROOM) {
    bench->first = (bench->first + 1) % ROOM;
    --bench->count;
    bench->lost = HOPBENCH_TIME_OVERRUN;
  }
  bench->chars[(bench->first + bench->count) % ROOM] = heard;
  ++bench->count;
}

/* ---- beginning and end --------------------------------------------------------------------------------------------
 */

static int connect_to(const char* socket_path) {
  if (socket_path == NULL) {
    const char* number = getenv("HOPBENCH_TIME_FD");
    if (number == NULL) {
      errno = ENOENT;
      return -1;
    }
    return atoi(number);
  }
  struct sockaddr_un address;
  memset(&address, 0, sizeof address);
  address.sun_family = AF_UNIX;
  if (strlen(socket_path) >= sizeof address.sun_path) {
    errno = ENAMETOOLONG;
    return -1;
  }
  strcpy(address.sun_path, socket_path);
  const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
  if (fd >= 0 && connect(fd, (const struct sockaddr*)&address, sizeof address) != 0) {
    const int error = errno;
    close(fd);
    errno = error;
    return -1;
  }
  return fd;
}

static int say_hello(hopbench_time* bench, const char* name) {
  const size_t length = strlen(name) < MOST_TEXT ? strlen(name) : MOST_TEXT;
  uint8_t* hello = message(bench, HELLO, 2 + length);
  if (hello == NULL) return -1;
  put(hello, HOPBENCH_TIME_VERSION, 2);
  memcpy(hello + 2, name, length);
  if (flush_out(bench) != 0) return -1;
  uint8_t type = 0;
  const uint8_t* body = NULL;
  if (next_message(bench, &type, &body) < 17 || type != BENCH_HELLO || get(body, 2) != HOPBENCH_TIME_VERSION) return -1;
  bench->line.baud = (uint32_t)get(body + 2, 4);
  bench->line.data_bits = body[6];
  bench->line.parity = body[7];
  bench->line.stop_half_bits = body[8];
  bench->line.start = bench->now = bench->bench_now = get(body + 9, 8);
  if (bench->line.baud == 0) return -1;
  const uint64_t half_bits =
      2U * (1U + bench->line.data_bits + (bench->line.parity != 0 ? 1U : 0U)) + bench->line.stop_half_bits;
  bench->line.char_time = (half_bits * 500000000U + bench->line.baud - 1) / bench->line.baud;
  return 0;
}

hopbench_time* hopbench_time_open(const char* socket_path, const char* name) {
  hopbench_time* bench = calloc(1, sizeof *bench);
  if (bench == NULL) return NULL;
  bench->fd = connect_to(socket_path);
  if (bench->fd < 0) {
    free(bench);
    return NULL;
  }
  if (say_hello(bench, name) != 0) {
    close(bench->fd);
    free(bench);
    errno = EPROTO;
    return NULL;
  }
  return bench;
}

void hopbench_time_close(hopbench_time* bench) {
  if (bench == NULL) return;
  if (bench->state != HOPBENCH_TIME_FAILED && message(bench, BYE, 0) != NULL) (void)flush_out(bench);
  close(bench->fd);
  free(bench);
}

const hopbench_line* hopbench_time_line(const hopbench_time* bench) { return &bench->line; }
uint64_t hopbench_time_now(const hopbench_time* bench) { return bench->now; }
const char* hopbench_time_error(const hopbench_time* bench) { return bench->error; }

/* ---- events -------------------------------------------------------------------------------------------------------
 */

int hopbench_time_write(hopbench_time* bench, const uint8_t* bytes, size_t count) {
  if (bench->state != 0) return bench->state;
  for (size_t from = 0; from < count;) {
    const size_t size = count - from < MOST_CHARS ? count - from : MOST_CHARS;
    uint8_t* body = message(bench, SEND, 8 + size);
    if (body == NULL) return bench->state;
    put(body, bench->now, 8);
    memcpy(body + 8, bytes + from, size);
    from += size;
  }
  return (int)count;
}

/* Lets the bench come to where the program is. */
static int catch_up(hopbench_time* bench) {
  if (bench->state != 0 || bench->now == bench->bench_now) return bench->state;
  const int why = hopbench_time_wait(bench, bench->now, 0, HOPBENCH_TIME_NEVER);
  return why < 0 ? why : 0;
}

int hopbench_time_decided(hopbench_time* bench, uint64_t exchange, int verdict) {
  if (bench->state == HOPBENCH_TIME_FAILED) return bench->state;
  (void)catch_up(bench);
  uint8_t* body = message(bench, DECIDED, 9);
  if (body == NULL) return bench->state;
  put(body, exchange, 8);
  body[8] = (uint8_t)verdict;
  return 0;
}

int hopbench_time_log(hopbench_time* bench, const char* text) {
  if (bench->state == HOPBENCH_TIME_FAILED) return bench->state;
  const size_t length = strlen(text) < MOST_TEXT ? strlen(text) : MOST_TEXT;
  uint8_t* body = message(bench, LOG, length);
  if (body == NULL) return bench->state;
  memcpy(body, text, length);
  return 0;
}

int hopbench_time_wait(hopbench_time* bench, uint64_t until, uint32_t chars, uint64_t still) {
  if (bench->state != 0) return bench->state;
  uint8_t* wait = message(bench, WAIT, 28);
  if (wait == NULL) return bench->state;
  /* What came in a sleep that the bench hears of only now must not end the wait. */
  put(wait, bench->now, 8);
  put(wait + 8, until > bench->now ? until : bench->now, 8);
  put(wait + 16, chars, 4);
  put(wait + 20, still, 8);
  if (flush_out(bench) != 0) return bench->state;
  for (;;) {
    uint8_t type = 0;
    const uint8_t* body = NULL;
    const long size = next_message(bench, &type, &body);
    if (size < 0) return bench->state;
    if (type == HEARD && size >= 8) {
      const uint64_t first = get(body, 8);
      for (const uint8_t* at = body + 8; at + CHAR_BYTES <= body + size; at += CHAR_BYTES) {
        const hopbench_char heard = {first + get(at, 4), at[4], at[5]};
        keep(bench, heard);
      }
    } else if (type == TIME_IS && size == 9) {
      bench->now = bench->bench_now = get(body, 8);
      return body[8];
    } else if (type == END_OF_RUN && size == 9) {
      bench->now = bench->bench_now = get(body, 8);
      return bench->state = HOPBENCH_TIME_ENDED;
    } else {
      return fail(bench, "the bench sent a message that this version does not know");
    }
  }
}

int hopbench_time_take(hopbench_time* bench, hopbench_char* into) {
  (void)catch_up(bench);
  if (bench->count == 0) return 0;
  *into = bench->chars[bench->first];
  into->marks |= bench->lost;
  bench->lost = 0;
  bench->first = (bench->first + 1) % ROOM;
  --bench->count;
  return 1;
}

size_t hopbench_time_there(hopbench_time* bench) {
  (void)catch_up(bench);
  return bench->count;
}

void hopbench_time_flush(hopbench_time* bench) {
  bench->count = 0;
  bench->lost = 0;
  bench->flushed_to = bench->now;
}

/* ---- a port that blocks -------------------------------------------------------------------------------------------
 */

static uint64_t later(uint64_t now, uint64_t span) {
  return span > HOPBENCH_TIME_NEVER - now ? HOPBENCH_TIME_NEVER : now + span;
}

int hopbench_time_read_frame(hopbench_time* bench, uint8_t* into, size_t count, uint64_t time_out, uint64_t still,
                             uint8_t* marks) {
  const uint64_t until = later(bench->now, time_out);
  if (marks != NULL) *marks = 0;
  if (bench->count < count) {
    const int why = hopbench_time_wait(bench, until, (uint32_t)(count - bench->count), still);
    if (why < 0 && bench->count == 0) return why;
  }
  size_t read = 0;
  hopbench_char next;
  while (read < count && hopbench_time_take(bench, &next) == 1) {
    into[read++] = next.value;
    if (marks != NULL) *marks = (uint8_t)(*marks | next.marks);
  }
  return (int)read;
}

int hopbench_time_read(hopbench_time* bench, uint8_t* into, size_t count, uint64_t time_out, uint8_t* marks) {
  return hopbench_time_read_frame(bench, into, count, time_out, HOPBENCH_TIME_NEVER, marks);
}

int hopbench_time_sleep(hopbench_time* bench, uint64_t span) {
  if (bench->state != 0) return bench->state;
  bench->now = later(bench->now, span);
  return 0;
}
