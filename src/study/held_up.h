// Which stations held late answers up, and for how long they have frames inside.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "study/cases.h"

namespace hopbench {

/// What a station did with frames: passed them on, or answered them.
struct HeldUp {
  std::string station;       // "b3"; "36 others"
  bool answering = false;    // its own answers; else what it passed on
  std::uint64_t late = 0;    // of the case's tries: held up there for longest
  std::uint64_t frames = 0;  // that it passed on or answered, in time or late
  Nanos median = 0;          // from a frame's end to the start of what came of it
  Nanos most = 0;            // of 99 %
  Nanos longest = 0;
};

/// Of a case of late answers, the station that held up most of them first, at most five; then all others that did the
/// same thing, to compare with. Empty for other cases, and where it was not seen.
std::vector<HeldUp> held_up(const Evidence& evidence, const Case& which);

}  // namespace hopbench
