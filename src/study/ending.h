// How a try that failed ended.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string_view>

namespace hopbench {

inline constexpr std::uint16_t no_station = 0xffff;

/// How a try came to nothing, as far as it was seen. A damaged frame is told by the ear that first found it so.
enum class Ending : std::uint8_t {
  damaged,        // framing error, parity error, wrong check, too long
  cut_short,      // it ended early, or nothing whole came of it
  nothing,        // put on a link, and not one character came out
  overrun,        // characters were lost for want of time to fetch them
  no_room,        // longer than a station's buffer
  not_passed_on,  // heard well by a station that should have passed it on
  not_answered,   // the ask was heard well by its node, which put no answer on the line
  changed,        // heard well by a station, and bad when it left it
  late,           // a good answer came after the time-out
  ignored,        // a good answer reached the controller in time, and did it no good
  refused,
  mismatched,
  stale,
  wrong,
  no_answer,  // nothing came, and nobody saw where it went
  truncated,  // an answer came without all the values that were asked for
  bad_ask,    // the controller sent no good ask
  collided,   // another frame was on the link at the same time
};
inline constexpr std::size_t ending_count = 18;
std::string_view name_of(Ending ending);

}  // namespace hopbench
