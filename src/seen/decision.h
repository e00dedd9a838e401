// What a controller itself says has become of what it asked last.
#pragma once

#include <cstdint>

namespace hopbench {

/// Stands in messages between programs: added to, never renumbered.
enum class Decision : std::uint8_t {
  answered = 1,   // it took an answer
  timed_out = 2,  // it waits no longer, and gives the exchange up
  retried = 3,    // it waits no longer, and asks again
  rejected = 4,   // something came, it made no use of it, and gives the exchange up
};

}  // namespace hopbench
