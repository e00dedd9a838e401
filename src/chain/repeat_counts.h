// How many exchanges were told again, and why the others were not. For timings only: nothing of it is in records.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace hopbench {

/// Why an exchange is done by events.
enum class ByEvents : std::uint8_t {
  unquiet,     // something is still under way when it begins, or a frame might end early
  off_plan,    // enrolment, a command, a topic that is never recorded
  unrecorded,  // there is no recording of it yet, or none that holds
  due,         // something else is due before it is over
  clocks,      // by the clocks as they are now it would go another way
  duty,        // a duty comes in between
  asleep,      // a node on its way sleeps
  noise,       // bit noise or ripple strikes
  burst,       // a burst, a contact or a cable may
  bytes,       // on some hop only bytes can tell what is heard
  late,        // its answer would come after the time-out, or be too old
  fault,       // an injected fault may strike
  wrong,       // its values may be wrong
};
inline constexpr std::size_t by_events_count = 13;

struct RepeatCounts {
  std::uint64_t repeated = 0;
  std::uint64_t retimed = 0;  // of those: with instants of their own
  std::array<std::uint64_t, by_events_count> by_events{};
};

}  // namespace hopbench
