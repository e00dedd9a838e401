// How much is done with real bytes.
#pragma once

#include <cstdint>

namespace hopbench {

/// All ways give equal records.
enum class Way : std::uint8_t {
  repeats,     // as events; and a healthy exchange is recorded once and told again while nothing can have changed
  events,      // frames that surely nothing touches travel without bytes
  every_byte,  // every character of every frame goes through the receiver and the decoder
};

}  // namespace hopbench
