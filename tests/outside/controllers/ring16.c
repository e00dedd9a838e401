/* A controller for captures/ring16.txtpb: asks one node after the other for its cell, at a steady pace, and asks again
 * when no good answer comes in time. An example of the blocking half of hopbench_time.h: bus_ticket() to bus_read() are
 * what firmware would have anyway, and the calls that begin with hopbench_time_ stand where its serial driver would.
 *
 * usage: ring16 [--socket PATH] [--nodes N] [--retries N] [--time-out MS] [--pace US] [--ticket-bits N]
 *
 * --ticket-bits 8 plants a bug that real firmware has had: the number that tells answers apart comes round after 256
 * exchanges, so an answer that is held up for that long passes for a fresh one. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "hopbench_time.h"

enum { MARKER = 0xA7, ASK = 1, ANSWER = 2, TOPIC_CELL = 1, AROUND = 12, PAYLOAD = 8, FRAME = AROUND + PAYLOAD };
enum { MS = 1000000, US = 1000 };

typedef struct {
  const char* socket;
  unsigned nodes, retries, ticket_bits;
  uint64_t time_out, pace;
} settings;

/* What has come of a frame, and when the last of it came. It stays from one try to the next: an answer may be half
 * there when the time is over. */
typedef struct {
  uint8_t bytes[FRAME];
  size_t size;
  size_t whole; /* bytes of the frame that is there; 0: none is */
  uint64_t last;
} receiver;

/* CRC-16 with the polynomial 0x3D65, high bit first, turned over at the end. */
static uint16_t check_of(const uint8_t* bytes, size_t size) {
  unsigned crc = 0;
  for (size_t i = 0; i < size; ++i) {
    crc ^= (unsigned)bytes[i] << 8;
    for (int bit = 0; bit < 8; ++bit) crc = (crc & 0x8000U) != 0 ? (crc << 1) ^ 0x3D65U : crc << 1;
  }
  return (uint16_t)(crc ^ 0xFFFFU);
}

static size_t make_ask(uint8_t* to, uint8_t node, uint16_t ticket) {
  const uint8_t head[10] = {MARKER, ASK, node, 0, 0, TOPIC_CELL, (uint8_t)(ticket >> 8), (uint8_t)ticket, 0, 0};
  memcpy(to, head, sizeof head);
  const uint16_t check = check_of(to, sizeof head);
  to[10] = (uint8_t)(check >> 8);
  to[11] = (uint8_t)check;
  return AROUND;
}

static int is_answer(const receiver* in, uint8_t node, uint16_t ticket) {
  return in->whole == FRAME && in->bytes[1] == ANSWER && in->bytes[3] == node && in->bytes[5] == TOPIC_CELL &&
         ((in->bytes[6] << 8) | in->bytes[7]) == ticket;
}

static void drop(receiver* in, size_t count) {
  in->size -= count;
  memmove(in->bytes, in->bytes + count, in->size);
}

/* Looks for a whole frame from the first marker on, from the next one if that is none. */
static void hunt(receiver* in) {
  while (in->size > 0) {
    const size_t length = in->size > 4 ? (size_t)(AROUND + in->bytes[4]) : FRAME;
    if (in->bytes[0] == MARKER && length <= FRAME) {
      if (in->size < length) return;
      const unsigned check = (unsigned)(in->bytes[length - 2] << 8) | in->bytes[length - 1];
      in->whole = check == check_of(in->bytes, length - 2) ? length : 0;
      if (in->whole != 0) return;
    }
    drop(in, 1);
  }
}

/* Takes a character. 1: a whole frame is there. */
static int receive(receiver* in, const hopbench_char* heard, uint64_t char_time) {
  drop(in, in->whole);
  in->whole = 0;
  /* Three characters of silence end what was half there. */
  if (heard->at > in->last + 4 * char_time) in->size = 0;
  in->last = heard->at;
  if ((heard->marks & (HOPBENCH_TIME_FRAMING | HOPBENCH_TIME_OVERRUN)) != 0) {
    in->size = 0;
  } else {
    in->bytes[in->size++] = heard->value;
    hunt(in);
  }
  return in->whole != 0;
}

/* Waits for the answer. 1: it is there; 0: the time is over; below: the run is. `heard`: whether anything came. */
static int read_answer(hopbench_time* bench, receiver* in, uint8_t node, uint16_t ticket, uint64_t deadline,
                       int* heard) {
  const uint64_t char_time = hopbench_time_line(bench)->char_time;
  for (;;) {
    const size_t missing = FRAME + in->whole - in->size;
    const int why = hopbench_time_wait(bench, deadline, (uint32_t)missing, 3 * char_time);
    if (why < 0) return why;
    hopbench_char each;
    while (hopbench_time_take(bench, &each) == 1) {
      *heard = 1;
      if (receive(in, &each, char_time) && is_answer(in, node, ticket)) return 1;
    }
    if (why == HOPBENCH_TIME_WAITED) return 0;
  }
}

/* One exchange with all its tries. 0, or below: the run is over. */
static int exchange(hopbench_time* bench, receiver* in, const settings* how, uint64_t number, uint8_t node,
                    uint16_t ticket) {
  uint8_t ask[AROUND];
  const size_t size = make_ask(ask, node, ticket);
  for (unsigned attempt = 0;; ++attempt) {
    if (hopbench_time_write(bench, ask, size) < 0) return -1;
    const uint64_t sent = hopbench_time_now(bench) + size * hopbench_time_line(bench)->char_time;
    int heard = 0;
    const int answer = read_answer(bench, in, node, ticket, sent + how->time_out, &heard);
    if (answer < 0) return answer;
    if (answer == 1) return hopbench_time_decided(bench, number, HOPBENCH_TIME_ANSWERED);
    if (attempt == how->retries) {
      return hopbench_time_decided(bench, number, heard ? HOPBENCH_TIME_REJECTED : HOPBENCH_TIME_TIMED_OUT);
    }
    (void)hopbench_time_decided(bench, number, HOPBENCH_TIME_RETRIED);
  }
}

static int read_settings(int count, char** words, settings* how) {
  for (int i = 1; i < count; i += 2) {
    if (i + 1 == count) return 0;
    const unsigned long value = strtoul(words[i + 1], NULL, 10);
    if (strcmp(words[i], "--socket") == 0) {
      how->socket = words[i + 1];
    } else if (strcmp(words[i], "--nodes") == 0 && value > 0 && value < 255) {
      how->nodes = (unsigned)value;
    } else if (strcmp(words[i], "--retries") == 0) {
      how->retries = (unsigned)value;
    } else if (strcmp(words[i], "--time-out") == 0) {
      how->time_out = (uint64_t)value * MS;
    } else if (strcmp(words[i], "--pace") == 0) {
      how->pace = (uint64_t)value * US;
    } else if (strcmp(words[i], "--ticket-bits") == 0 && value > 0 && value <= 16) {
      how->ticket_bits = (unsigned)value;
    } else {
      return 0;
    }
  }
  return 1;
}

int main(int count, char** words) {
  settings how = {NULL, 16, 0, 16, (uint64_t)500 * MS, (uint64_t)1382400 * US};
  if (!read_settings(count, words, &how)) {
    (void)fputs("ring16: unknown option, or a value that cannot be\n", stderr);
    return 2;
  }
  hopbench_time* bench = hopbench_time_open(how.socket, "ring16");
  if (bench == NULL) {
    perror("ring16: no bench");
    return 3;
  }
  const unsigned last_ticket = (1U << how.ticket_bits) - 1U;
  unsigned ticket = 0;
  receiver in = {{0}, 0, 0, 0};
  for (uint64_t number = 0;; ++number) {
    const uint64_t start = hopbench_time_now(bench);
    ticket = ticket < last_ticket ? ticket + 1 : how.ticket_bits == 16 ? 1 : 0;
    if (exchange(bench, &in, &how, number, (uint8_t)(1 + number % how.nodes), (uint16_t)ticket) < 0) break;
    const uint64_t now = hopbench_time_now(bench);
    if (start + how.pace > now && hopbench_time_sleep(bench, start + how.pace - now) < 0) break;
  }
  const int failed = hopbench_time_error(bench)[0] != '\0';
  if (failed) (void)fprintf(stderr, "ring16: %s\n", hopbench_time_error(bench));
  hopbench_time_close(bench);
  return failed;
}
