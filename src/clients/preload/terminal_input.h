/* What has come for the terminal and was not read, as the program is to see it: characters with errors as its settings
 * say. As in the kernel 4,095 find room, and what comes after them is lost. */
#ifndef HOPBENCH_PRELOAD_TERMINAL_INPUT_H
#define HOPBENCH_PRELOAD_TERMINAL_INPUT_H

#include <stddef.h>
#include <stdint.h>

#include "hopbench_time.h"

void input_add(const hopbench_char* heard);
size_t input_size(void);
/* When the last that was added came. */
uint64_t input_last(void);
/* Takes the oldest; gives how many. */
size_t input_take(unsigned char* into, size_t count);
void input_clear(void);

#endif
