#include "view/help.h"

#include "seen/reality.h"

namespace hopbench {
namespace {

// With the caution between them no longer than the smallest usual screen: 80 places, 22 lines.
const char* const reading[] = {
    "Hops run down, time runs across. A row is a hop and the station it ends in.",
    "\"in b3\": frames that b3 stopped, or held until they were late. \"to b3\": tries",
    "that b3 refused or answered with old values, or whose end nobody saw. A cell is",
    "the share lost in its column of time; the line below the lanes says what was",
    "seen. ░ not read yet, ▒ records are missing, ╎ nobody listened. \"wire\" is time",
    "on the hop, \"stay\" inside the station, \"trip\" the round trip of its node.",
};
const char* const keys[] = {
    "",
    "arrows, h j k l  move      PgUp PgDn  more rows   H L  a screen of time",
    "Home End  first, last      + -  shorter, longer columns   o  whole capture",
    "t  go to a time            d D  the same time a day before, after",
    "/  find a hop or node      g  exchange by number   n N  next, previous failure",
    "Enter  journey, or unfold  [ ]  exchange before, after, in a journey",
    "s  sort rows               z  fold or unfold hops without loss",
    "i  figures in sight only   1 2  cells show loss, check errors",
    "v  histogram               space  follow a growing capture, or pause",
    "f  only: hop 5, node a7, topic readings, outcome late, symptom check, failed",
    "m  note, kept beside the capture      w  write to a file: text, or .json",
    "mouse  click: move, again: Enter      q  back, and out",
};

}  // namespace

Screen help_screen(int width, int height) {
  Screen screen(width, height);
  screen.put(0, 0, "How to read the map, and its keys", Ink::heading);
  int y = 2;
  for (const char* line : reading) screen.put(0, y++, line);
  screen.put(0, y++, caution_of(Reality::simulated));
  for (const char* line : keys) screen.put(0, y++, line);
  screen.put(0, height - 1, "any key goes back", Ink::dim);
  return screen;
}

}  // namespace hopbench
