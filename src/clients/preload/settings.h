/* What the program has set its terminal to. The flags are those of <termios.h>, which the kernel's structures share. */
#ifndef HOPBENCH_PRELOAD_SETTINGS_H
#define HOPBENCH_PRELOAD_SETTINGS_H

enum { SETTINGS_CHARS = 19 };

struct settings {
  unsigned input, output, control, local;
  unsigned char discipline;
  unsigned char chars[SETTINGS_CHARS];
  unsigned speed; /* in Bd, where the flags say that it is no usual one */
};

/* As a serial port of Linux begins: 9,600 Bd, 8N1, lines of text. They outlive that the terminal is closed. */
extern struct settings settings;

/* In Bd; 0: none. */
unsigned settings_speed(void);
/* They have been changed, or may have been. */
void settings_changed(void);
/* Before the line is used. Ends the program if its settings do not fit the simulated line, or would change bytes. */
void settings_fit(const char* call);

#endif
