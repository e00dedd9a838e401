/* A Modbus RTU client as people write them for Linux, with libmodbus: reads a register of one unit after the other at a
 * steady pace, logs what failed, and counts. It knows nothing of hopbench.
 *
 * usage: registers TTY [BAUD [UNITS [PACE_MS]]] */
#include <errno.h>
#include <inttypes.h>
#include <modbus.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static volatile sig_atomic_t stopped;

static void stop(int signal_number) {
  (void)signal_number;
  stopped = 1;
}

static long since(const struct timespec* start) {
  struct timespec now;
  clock_gettime(CLOCK_MONOTONIC, &now);
  return (long)(now.tv_sec - start->tv_sec) * 1000000 + (now.tv_nsec - start->tv_nsec) / 1000;
}

static void log_failure(int unit, const char* what) {
  const time_t now = time(NULL);
  char text[32];
  strftime(text, sizeof text, "%F %T", gmtime(&now));
  printf("%s unit %d: %s\n", text, unit, what);
}

static modbus_t* connect_to(const char* tty, int baud) {
  modbus_t* client = modbus_new_rtu(tty, baud, 'E', 8, 1);
  if (client == NULL) return NULL;
  modbus_set_response_timeout(client, 0, 200000);
  modbus_set_byte_timeout(client, 0, 20000);
  if (modbus_connect(client) == 0) return client;
  modbus_free(client);
  return NULL;
}

int main(int count, char** words) {
  const char* tty = count > 1 ? words[1] : "/dev/ttyS0";
  const int baud = count > 2 ? atoi(words[2]) : 9600;
  const int units = count > 3 ? atoi(words[3]) : 3;
  const long pace = count > 4 ? atol(words[4]) * 1000 : 100000;
  signal(SIGTERM, stop);
  modbus_t* client = connect_to(tty, baud);
  if (client == NULL) {
    fprintf(stderr, "%s: %s\n", tty, modbus_strerror(errno));
    return 1;
  }
  uint64_t asked = 0;
  uint64_t answered = 0;
  long slowest = 0;
  while (!stopped) {
    const int unit = 1 + (int)(asked % (unsigned)units);
    uint16_t value = 0;
    struct timespec start;
    clock_gettime(CLOCK_MONOTONIC, &start);
    modbus_set_slave(client, unit);
    ++asked;
    if (modbus_read_registers(client, 0, 1, &value) == 1) {
      ++answered;
      if (since(&start) > slowest) slowest = since(&start);
    } else if (!stopped) {
      log_failure(unit, modbus_strerror(errno));
      modbus_flush(client);
    }
    const long left = pace - since(&start);
    if (left > 0) usleep((useconds_t)left);
  }
  printf("asked %" PRIu64 ", answered %" PRIu64 ", slowest %ld us\n", asked, answered, slowest);
  modbus_close(client);
  modbus_free(client);
  return 0;
}
