/* What every file of the preload library needs: how a function of the C library is caught, and how the library's own
 * one behind it is called. The library is C99 for Linux on a 64-bit machine with the GNU C library, and for one thread.
 */
#ifndef HOPBENCH_PRELOAD_CAUGHT_H
#define HOPBENCH_PRELOAD_CAUGHT_H

#include <features.h>

#if !defined(__linux__) || !defined(__GLIBC__) || !defined(__LP64__)
#error "the preload library knows the names of the GNU C library on 64-bit Linux"
#endif

/* A function that stands before the C library's. All others of this library are hidden from the program. */
#define CAUGHT __attribute__((visibility("default")))

typedef void (*any_function)(void);
/* The C library's function of that name; ends the program if it has none. */
any_function real_function(const char* name);

/* Declares `real_NAME`, the C library's function. */
#define REAL(name)                      \
  static __typeof__(&name) real_##name; \
  if (real_##name == NULL) real_##name = (__typeof__(&name))real_function(#name)

/* Ends the program with exit code 120 and one line: the call, and why it has no place in granted time. */
__attribute__((noreturn)) void refuse(const char* call, const char* why);

#endif
