/* The one terminal that leads to the simulated line, under the name that HOPBENCH_TIME_TTY has. A file of that name
 * need not exist. Its descriptor is a real one, of a pseudo-terminal that nobody else uses, so that the program's table
 * of descriptors is in order and what is not caught still sees a terminal. */
#ifndef HOPBENCH_PRELOAD_TERMINAL_H
#define HOPBENCH_PRELOAD_TERMINAL_H

#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

/* Whether a path is its name, a descriptor is its own, or one that this library needs for itself. */
int terminal_has_name(const char* path);
int terminal_is(int fd);
int terminal_needs(int fd);
const char* terminal_name(void);

/* As open() and close(): what came before it was opened is gone; closing waits until all is sent. */
int terminal_open(int flags);
int terminal_close(void);
/* The flags of open(), of which O_NONBLOCK may change. */
int* terminal_flags(void);

/* As read() and write() on a serial port with the settings as they are. */
ssize_t terminal_read(unsigned char* into, size_t count);
ssize_t terminal_write(const unsigned char* bytes, size_t count);

/* Characters that have come and were not read. */
size_t terminal_there(void);
/* The same for a program that looks instead of waiting. */
size_t terminal_look(void);
/* How many must have come until poll() says that there is something to read. */
size_t terminal_least(void);
/* Waits until so many are there, until `until`, or until none has come for `between` after one. 0, or -1: the run has
 * ended in it. */
int terminal_await(size_t count, uint64_t until, uint64_t between);
/* Characters that were written and are not yet on the wire as a whole. */
size_t terminal_unsent(void);
/* When another character can be written; now, if it can. */
uint64_t terminal_writable_at(void);
/* Waits until all is sent. 0, or -1: the run has ended in it. */
int terminal_drain(void);
void terminal_forget_input(void);
/* As tcflush(). */
int terminal_flush(int which);

#endif
