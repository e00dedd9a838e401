#include "view/help.h"

#include <string>

namespace hopbench {
namespace {

const char* const help_lines[] = {
    "The chain is drawn across, hop by hop, from the controller and back to it; time runs down.",
    "A letter is the worst that was seen of frames on that hop in that row of time:",
    "  X heard well by a station that put nothing on the next hop    N not one character heard",
    "  O overrun   R longer than a buffer   S ended early   L went on too long",
    "  F framing error   P parity error   C check failed   (small letter: under a tenth of the frames)",
    "A streak down is a bad hop; a band across is a bad moment. Beside it: the worst outcome in the row",
    "(n no answer, l late, g garbled, m mismatched, r refused, s stale, w wrong), and what of it is not known",
    "(+ sums only, n one in n kept, ! records left out), the most cells balancing, charge current, board.",
    "",
    "arrows or h j k l  move         + -  shorter or longer rows     page up, page down, Home, End  go far",
    "space  go along with the end, or hold still        o  the whole capture     v  figures     q  quit",
    "n N  next, previous failure     Enter  journey of the exchange at the cursor    g  exchange by number",
    "f  show only some: hop 5, node a7, topic readings, outcome late, symptom check, failed; together too",
    "m  mark this spot with a note (kept beside the capture)     w  write what is shown to a file (.json or text)",
};

}  // namespace

Screen help_screen(int width, int height) {
  Screen screen(width, height);
  screen.put(0, 0, "How to read this, and its keys", Ink::heading);
  int y = 2;
  for (const char* line : help_lines) {
    // Long lines go on below.
    std::string rest = line;
    while (true) {
      const auto room = static_cast<std::size_t>(width);
      std::size_t cut = rest.size() <= room ? rest.size() : rest.rfind(' ', room);
      if (cut == std::string::npos || cut == 0) cut = std::min(room, rest.size());
      screen.put(0, y++, rest.substr(0, cut));
      if (cut >= rest.size()) break;
      rest = "    " + rest.substr(cut + 1);
    }
  }
  screen.put(0, height - 1, "any key goes back", Ink::dim);
  return screen;
}

}  // namespace hopbench
