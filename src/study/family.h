// Endings of failed tries, by what kind of thing went wrong.
#pragma once

#include <cstdint>

#include "study/evidence.h"

namespace hopbench {

/// What kind of thing went wrong; decides which mechanisms come into question.
enum class Family : std::uint8_t {
  wire,       // damaged, cut short, overrun or nothing, on a link
  collided,   // on a link, with another frame
  no_room,    // at a station
  swallowed,  // not passed on, or not answered
  changed,    // inside a station
  late,
  ignored,  // at the controller
  refused,
  mismatched,
  bad_value,  // stale or wrong
  truncated,  // values that did not fit
  bad_ask,    // sent by the controller
  unseen,     // no answer, and nobody saw why
};

Family family_of(Ending ending);
/// Where it went wrong is a link; for all others a station.
bool on_links(Family family);

}  // namespace hopbench
