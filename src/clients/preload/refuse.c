#include <dlfcn.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "caught.h"

enum { REFUSED = 120 };

any_function real_function(const char* name) {
  void* found = dlsym(RTLD_NEXT, name);
  any_function function = NULL;
  if (found == NULL) refuse(name, "the C library has no such function");
  memcpy(&function, &found, sizeof function);
  return function;
}

void refuse(const char* call, const char* why) {
  /* What the program has printed comes first. */
  (void)fflush(NULL);
  (void)fprintf(stderr, "%s: refused in granted time: %s: %s\n", program_invocation_short_name, call, why);
  _exit(REFUSED);
}
