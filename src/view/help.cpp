#include "view/help.h"

#include "seen/reality.h"

namespace hopbench {
namespace {

// With the caution between them no longer than the smallest usual screen: 80 places, 22 lines.
const char* const reading[] = {
    "The chain runs across, hop by hop, from the controller back to it; time runs",
    "down. A letter is the worst seen of frames on that hop in that row of time:",
    "  X heard well by a station that put nothing on the next hop",
    "  N not a character heard   O overrun    R longer than a buffer   S ended early",
    "  L went on too long        F framing    P parity                 C check failed",
    "(small: under a tenth of the frames). Down a bad hop, across a bad moment.",
    "Right of it: worst outcome (n no answer, w wrong, m mismatched, s stale, l late,",
    "g garbled, t truncated, r refused, b bad ask), what is missing (+ sums, n one in",
    "n kept, ! records, ▒ a hole), the most cells balancing, charge, warmest board.",
};
const char* const keys[] = {
    "",
    "arrows, h j k l  move         page up, page down, Home, End  go far",
    "+ -  shorter, longer rows     o  the whole capture",
    "space  go along with the end, or hold still",
    "n N  next, previous failure   Enter  the journey of the exchange here",
    "g  exchange by its number     v  figures: latencies, failures by balancing",
    "f  only some: hop 5, node a7, topic readings, outcome late, symptom check,",
    "   failed; several together; nothing shows all again",
    "m  mark this spot with a note, kept beside the capture",
    "w  write what is shown to a file: text, or JSON if it ends in .json",
    "q  back, and out",
};

}  // namespace

Screen help_screen(int width, int height) {
  Screen screen(width, height);
  screen.put(0, 0, "How to read this, and its keys", Ink::heading);
  int y = 2;
  for (const char* line : reading) screen.put(0, y++, line);
  screen.put(0, y++, caution_of(Reality::simulated));
  for (const char* line : keys) screen.put(0, y++, line);
  screen.put(0, height - 1, "any key goes back", Ink::dim);
  return screen;
}

}  // namespace hopbench
