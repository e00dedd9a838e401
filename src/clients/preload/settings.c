#include "settings.h"

#include <stdio.h>
#include <string.h>
#include <termios.h>

#include "bench.h"
#include "caught.h"

struct settings settings = {.input = ICRNL | IXON,
                            .output = OPOST | ONLCR,
                            .control = B9600 | CS8 | CREAD | HUPCL | CLOCAL,
                            .local = ISIG | ICANON | ECHO | ECHOE | ECHOK | ECHOCTL | ECHOKE | IEXTEN,
                            .chars = {[VMIN] = 1}};

struct named {
  unsigned flag;
  const char* name;
};

static const struct {
  unsigned flags, speed;
} speeds[] = {{B50, 50},           {B75, 75},           {B110, 110},         {B134, 134},         {B150, 150},
              {B200, 200},         {B300, 300},         {B600, 600},         {B1200, 1200},       {B1800, 1800},
              {B2400, 2400},       {B4800, 4800},       {B9600, 9600},       {B19200, 19200},     {B38400, 38400},
              {B57600, 57600},     {B115200, 115200},   {B230400, 230400},   {B460800, 460800},   {B500000, 500000},
              {B576000, 576000},   {B921600, 921600},   {B1000000, 1000000}, {B1152000, 1152000}, {B1500000, 1500000},
              {B2000000, 2000000}, {B2500000, 2500000}, {B3000000, 3000000}, {B3500000, 3500000}, {B4000000, 4000000}};

unsigned settings_speed(void) {
  const unsigned flags = settings.control & CBAUD;
  if (flags == CBAUDEX) return settings.speed;
  for (size_t i = 0; i < sizeof speeds / sizeof speeds[0]; ++i) {
    if (speeds[i].flags == flags) return speeds[i].speed;
  }
  return 0;
}

static unsigned data_bits(void) {
  switch (settings.control & CSIZE) {
    case CS5:
      return 5;
    case CS6:
      return 6;
    case CS7:
      return 7;
    default:
      return 8;
  }
}

/* As in 8N1: none, odd, even; or one that the bench has not. */
static char parity(void) {
  if ((settings.control & PARENB) == 0) return 'N';
  if ((settings.control & CMSPAR) != 0) return '?';
  return (settings.control & PARODD) != 0 ? 'O' : 'E';
}

static void fit_line(const char* call) {
  static const char parities[] = "NOE";
  const hopbench_line* line = hopbench_time_line(bench());
  const char line_parity = line->parity < 3 ? parities[line->parity] : '?';
  const unsigned stop_half_bits = (settings.control & CSTOPB) != 0 ? 4 : 2;
  if (settings_speed() == line->baud && data_bits() == line->data_bits && parity() == line_parity &&
      stop_half_bits == line->stop_half_bits) {
    return;
  }
  char why[200];
  (void)snprintf(why, sizeof why,
                 "the program has set %u Bd, %u%c%u, the scenario's line has %u Bd, %u%c%s: make them the same",
                 settings_speed(), data_bits(), parity(), stop_half_bits / 2, line->baud, line->data_bits, line_parity,
                 line->stop_half_bits == 2   ? "1"
                 : line->stop_half_bits == 3 ? "1.5"
                                             : "2");
  refuse(call, why);
}

static void add_names(char* text, size_t size, unsigned flags, const struct named* names) {
  for (; names->name != NULL; ++names) {
    const size_t length = strlen(text);
    if ((flags & names->flag) != 0) (void)snprintf(text + length, size - length, " %s", names->name);
  }
}

/* A terminal may change, swallow or hold back bytes, which is seldom meant on a bus. */
static void fit_modes(const char* call) {
  static const struct named input[] = {{ISTRIP, "ISTRIP"}, {INLCR, "INLCR"}, {IGNCR, "IGNCR"}, {ICRNL, "ICRNL"},
                                       {IUCLC, "IUCLC"},   {IXON, "IXON"},   {IXOFF, "IXOFF"}, {0, NULL}};
  static const struct named output[] = {{OPOST, "OPOST"}, {0, NULL}};
  static const struct named control[] = {{CRTSCTS, "CRTSCTS"}, {0, NULL}};
  static const struct named local[] = {{ICANON, "ICANON"}, {ECHO, "ECHO"}, {ISIG, "ISIG"}, {0, NULL}};
  char why[200] = "";
  add_names(why, sizeof why, settings.input, input);
  add_names(why, sizeof why, settings.output, output);
  add_names(why, sizeof why, settings.control, control);
  add_names(why, sizeof why, settings.local, local);
  if (why[0] != '\0') {
    char line[300];
    (void)snprintf(line, sizeof line, "the terminal would change, swallow or hold back bytes: clear%s", why);
    refuse(call, line);
  }
  if ((settings.control & CREAD) == 0) refuse(call, "the terminal would not receive: set CREAD");
}

static int fits;

void settings_changed(void) { fits = 0; }

void settings_fit(const char* call) {
  if (fits) return;
  fit_line(call);
  fit_modes(call);
  fits = 1;
}
