#include "terminal_input.h"

#include <string.h>
#include <termios.h>

#include "caught.h"
#include "settings.h"

enum { MOST = 4095, ESCAPE = 0xFF };

static unsigned char kept[MOST];
static size_t from, size;
static uint64_t last;

size_t input_size(void) { return size; }
uint64_t input_last(void) { return last; }
void input_clear(void) { size = 0; }

static void add(unsigned char byte, uint64_t at) {
  last = at;
  if (size < MOST) kept[(from + size++) % MOST] = byte;
}

/* What termios(3) says of IGNBRK, BRKINT, PARMRK, INPCK and IGNPAR. A receiver's overrun leaves no trace in what is
 * read. */
void input_add(const hopbench_char* heard) {
  const unsigned set = settings.input;
  const int is_break = (heard->marks & HOPBENCH_TIME_BREAK) != 0;
  const int is_wrong = (heard->marks & (HOPBENCH_TIME_FRAMING | HOPBENCH_TIME_PARITY)) != 0;
  if (is_break && (set & IGNBRK) != 0) return;
  if (is_break && (set & BRKINT) != 0)
    refuse("BRKINT", "a break has come, and signals of a terminal are not simulated");
  if (!is_break && (!is_wrong || (set & INPCK) == 0)) {
    if (heard->value == ESCAPE && (set & PARMRK) != 0) add(ESCAPE, heard->at);
    add(heard->value, heard->at);
    return;
  }
  if (!is_break && (set & IGNPAR) != 0) return;
  if ((set & PARMRK) != 0) {
    add(ESCAPE, heard->at);
    add(0, heard->at);
    add(is_break ? 0 : heard->value, heard->at);
  } else {
    add(0, heard->at);
  }
}

size_t input_take(unsigned char* into, size_t count) {
  if (count > size) count = size;
  for (size_t i = 0; i < count; ++i) into[i] = kept[(from + i) % MOST];
  from = (from + count) % MOST;
  size -= count;
  return count;
}
